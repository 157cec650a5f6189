//go:build !slow

// Package effort says how long the tests go on that draw at random: few rounds in the plain run, many with the tag
// slow.
package effort

// Rounds is how many rounds a test takes.
func Rounds(few, _ int) int { return few }
