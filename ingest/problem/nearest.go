package problem

import (
	"fmt"
	"strings"
)

// Nearest returns the candidate that begins with name, or else the one closest to it by edit distance, ignoring case,
// or "" when none is close enough to be a likely slip (more than a third of the letters differ).
func Nearest(name string, candidates []string) string {
	best, bestDistance := "", len(name)/3+2
	for _, c := range candidates {
		if len(name) > 1 && strings.HasPrefix(strings.ToLower(c), strings.ToLower(name)) {
			return c
		}
		if d := editDistance(strings.ToLower(name), strings.ToLower(c)); d < bestDistance {
			best, bestDistance = c, d
		}
	}
	return best
}

// Suggest returns `did you mean "x"?` for the nearest candidate, or a list of the candidates.
func Suggest(name string, candidates []string) string {
	if n := Nearest(name, candidates); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	return "known here: " + strings.Join(candidates, ", ")
}

// editDistance counts the single-byte insertions, deletions and substitutions from a to b (Levenshtein 1965).
func editDistance(a, b string) int {
	previous := make([]int, len(b)+1)
	for j := range previous {
		previous[j] = j
	}
	for i := 1; i <= len(a); i++ {
		current := make([]int, len(b)+1)
		current[0] = i
		for j := 1; j <= len(b); j++ {
			substitute := previous[j-1]
			if a[i-1] != b[j-1] {
				substitute++
			}
			current[j] = min(substitute, previous[j]+1, current[j-1]+1)
		}
		previous = current
	}
	return previous[len(b)]
}
