package main

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"retotal/ingest/problem"
	"retotal/ingest/quantity"
	"retotal/recompute/device"
	"retotal/report"
)

func devicesCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "devices [KIND...]",
		Short: "Primary devices: dimensions, limits, sources",
		Long: `Lists the primary devices that a site file can name. With a kind, shows the block for a site file, the
equation, the limits and the source of its coefficients, and whether they were read in that source or recalled.`,
		Example: "  retotal devices\n  retotal devices parshall throated",
		RunE: func(c *cobra.Command, args []string) error {
			chosen, err := kindsNamed(args)
			if err != nil {
				return err
			}
			w := c.OutOrStdout()
			for i, k := range chosen {
				switch {
				case asJSON:
					json.NewEncoder(w).Encode(report.NewKind(k))
				case len(args) == 0:
					fmt.Fprintf(w, "%-18s %s\n%-18s keys: %s\n", k.Name, k.Sentence, "", strings.Join(k.Keys, ", "))
				default:
					if i > 0 {
						fmt.Fprintln(w)
					}
					printKind(w, k)
				}
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print one line of JSON a kind")
	return c
}

// kindsNamed returns the kinds that are asked for, or all.
func kindsNamed(names []string) ([]device.Kind, error) {
	all := device.All()
	if len(names) == 0 {
		return all, nil
	}
	var out []device.Kind
	for _, name := range names {
		i := slices.IndexFunc(all, func(k device.Kind) bool { return k.Name == name })
		if i < 0 {
			return nil, usage{fmt.Sprintf("%q is not a device kind; %s", name, problem.Suggest(name, device.Kinds()))}
		}
		out = append(out, all[i])
	}
	return out, nil
}

// printKind prints one kind with its example as a block of a site file.
func printKind(w io.Writer, k device.Kind) {
	fmt.Fprintf(w, "%s: %s\n\n[settings.device]\nkind = %q\n", k.Name, k.Sentence, k.Name)
	for _, key := range slices.Sorted(maps.Keys(k.Example)) {
		fmt.Fprintf(w, "%s = %s\n", key, tomlValue(k.Example[key]))
	}
	d, l := k.Rating.Describe(), k.Rating.Limits()
	fmt.Fprintf(w, "\n  keys        %s\n  equation    %s\n  source      %s\n",
		strings.Join(k.Keys, ", "), d.Equation, d.Source)
	for _, line := range limitLines(l) {
		fmt.Fprintf(w, "  %-11s %s\n", line[0], line[1])
	}
	if drownable, ok := k.Rating.(device.Drownable); ok {
		limit, source := drownable.ModularLimit()
		if math.IsInf(limit, 1) {
			source = "nothing is known of drowned flow at this device"
		} else {
			source = fmt.Sprintf("above hd/h = %.2f: %s", limit, source)
		}
		fmt.Fprintf(w, "  drowned     %s\n", source)
	}
	if d.UncertainBy != "" {
		fmt.Fprintf(w, "  uncertain   %s %% (95 %%): %s\n", quantity.Digits(100*d.Uncertainty, 2), d.UncertainBy)
	}
	for _, text := range d.Assumed {
		fmt.Fprintf(w, "  assumed     %s\n", text)
	}
	for _, advice := range d.Advice {
		fmt.Fprintf(w, "  note        %s\n", advice)
	}
}

// tomlValue writes a value of an example as TOML.
func tomlValue(v any) string {
	switch x := v.(type) {
	case string:
		return fmt.Sprintf("%q", x)
	case []any:
		parts := make([]string, len(x))
		for i := range x {
			parts[i] = tomlValue(x[i])
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case map[string]any:
		var parts []string
		for _, key := range slices.Sorted(maps.Keys(x)) {
			parts = append(parts, key+" = "+tomlValue(x[key]))
		}
		return "{ " + strings.Join(parts, ", ") + " }"
	}
	return fmt.Sprint(v)
}
