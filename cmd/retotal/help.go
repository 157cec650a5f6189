package main

import (
	"embed"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/report"
)

//go:embed help/*.md
var helpPages embed.FS

// topics are the pages of help/, in the order in which they are listed.
var topics = []string{"site-file", "devices", "logs", "screening", "totals", "uncertainty", "auditing", "cases",
	"outputs", "checking", "batch", "cluster", "speed"}

// topicText is the page of a topic as it is printed: without the marks between which tables are renewed.
func topicText(topic string) string {
	page, err := helpPages.ReadFile("help/" + topic + ".md")
	if err != nil {
		panic("a topic of the list has no page: " + topic) // a test prints every one
	}
	isMark := func(line string) bool { return strings.HasPrefix(line, "<!--") }
	return strings.Join(slices.DeleteFunc(strings.SplitAfter(string(page), "\n"), isMark), "")
}

// topicTitle says what a topic is about: its heading after the colon.
func topicTitle(topic string) string {
	heading, _, _ := strings.Cut(topicText(topic), "\n")
	_, about, _ := strings.Cut(heading, ": ")
	return about
}

func helpCommand() *cobra.Command {
	schema := false
	c := &cobra.Command{
		Use:     "help [COMMAND | TOPIC]",
		Short:   "Help about a command or a topic",
		Long:    "Prints the help of a command, or a page of the manual.",
		Example: "  retotal help correct\n  retotal help site-file",
		ValidArgsFunction: func(c *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return helpNames(c.Root()), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(c *cobra.Command, args []string) error {
			if schema {
				return printSchema(c, args)
			}
			return help(c.Root(), args)
		},
	}
	c.Flags().BoolVar(&schema, "schema", false, "of the topic outputs: print the JSON Schema of record.json")
	return c
}

// printSchema prints the schema of records.
func printSchema(c *cobra.Command, args []string) error {
	if len(args) != 1 || args[0] != "outputs" {
		return usage{"--schema goes with the topic outputs, as in: retotal help outputs --schema"}
	}
	_, err := c.OutOrStdout().Write(report.Schema)
	return err
}

// help prints the page of a topic, the help of a command, or both where they share a name.
func help(root *cobra.Command, args []string) error {
	command, rest, err := root.Find(args)
	known := err == nil && len(rest) == 0
	if isTopic := len(args) == 1 && slices.Contains(topics, args[0]); isTopic {
		fmt.Fprint(root.OutOrStdout(), topicText(args[0]))
		if !known {
			return nil
		}
		fmt.Fprintf(root.OutOrStdout(), "\n## The command retotal %s\n\n", args[0])
	}
	if !known {
		near := problem.Suggest(args[0], helpNames(root))
		return usage{fmt.Sprintf("there is no command or help topic %q; %s", strings.Join(args, " "), near)}
	}
	command.InitDefaultHelpFlag()
	return command.Help()
}

// helpNames lists what help can be asked about: topics, and commands that are not topics too.
func helpNames(root *cobra.Command) []string {
	names := slices.Clone(topics)
	for _, c := range root.Commands() {
		if c.IsAvailableCommand() && !slices.Contains(names, c.Name()) {
			names = append(names, c.Name())
		}
	}
	return names
}

// listTopics puts the topics under the commands that the root's help lists.
func listTopics(root *cobra.Command) {
	var list strings.Builder
	for _, t := range topics {
		fmt.Fprintf(&list, "\n  %-12s %s", t, topicTitle(t))
	}
	const flags = "{{if .HasAvailableLocalFlags}}"
	before, after, _ := strings.Cut(root.UsageTemplate(), flags)
	title := "\n\nTopics, printed by retotal help TOPIC:"
	root.SetUsageTemplate(before + "{{if not .HasParent}}" + title + list.String() + "{{end}}" + flags + after)
}
