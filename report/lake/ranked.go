package lake

import (
	"fmt"
	"io"
	"text/tabwriter"
)

// Ranked prints the worst sites, as many as are asked for: those that failed are told elsewhere.
func Ranked(w io.Writer, sites []Site, most int) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	shown := 0
	for i := range sites {
		s := &sites[i]
		if s.State == Failed || shown == most {
			continue
		}
		if shown == 0 {
			fmt.Fprintln(t, "\nat stake m3\tbefore m3\tafter m3\tdifference m3\topen\tdays since visit\t  site")
		}
		shown++
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%d\t%s\t  %s\n", number(&s.AtStake, 0).Text, number(s.Before, 0).Text,
			number(s.After, 0).Text, withSign(s.Difference).Text, s.Needs, number(s.SinceDays, 0).Text, s.ID)
	}
	t.Flush()
}
