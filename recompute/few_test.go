//go:build !slow

package recompute_test

// sites is how many sites of a kind are generated to see how often an interval holds the truth.
const sites = 100
