package main

import (
	"fmt"
	"os"
	"path"
	"strconv"
	"strings"
)

// equivalents are mutants that change nothing that a test could hold, by file name, line and token.
type equivalents map[string]bool

// readEquivalents reads entries of three lines with a blank one between: "file: token ..." (token#2 for the second such
// token of the line), the line of code, the reason. An entry that begins with # is a comment.
func readEquivalents(name string) (equivalents, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	known := equivalents{}
	for entry := range strings.SplitSeq(string(text), "\n\n") {
		if entry = strings.TrimSpace(entry); entry == "" || entry[0] == '#' {
			continue
		}
		lines := strings.Split(entry, "\n")
		if len(lines) != 3 {
			return nil, fmt.Errorf(
				"%s: %q has %d lines; expected file and token, line of code, reason",
				name,
				lines[0],
				len(lines),
			)
		}
		file, tokens, ok := strings.Cut(lines[0], ": ")
		if !ok {
			return nil, fmt.Errorf("%s: %q names no token; write it as file.go: token", name, lines[0])
		}
		for token := range strings.FieldsSeq(tokens) {
			from, which, numbered := strings.Cut(token, "#")
			if !numbered {
				which = "1"
			}
			known[file+"\n"+strings.TrimSpace(lines[1])+"\n"+from+"\n"+which] = true
		}
	}
	return known, nil
}

func (e equivalents) has(m mutant) bool {
	return m.idle || e[path.Base(m.file)+"\n"+m.line+"\n"+m.from+"\n"+strconv.Itoa(m.occurrence)]
}
