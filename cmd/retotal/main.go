// Command retotal corrects the flow totals of open-channel meters whose settings were wrong.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	_ "time/tzdata" // zones on systems that have none

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"retotal/ingest/problem"
)

// version is written into every record.
const version = "0.1.0"

// The exit statuses.
const (
	success = 0
	failed  = 1 // the program or the machine
	badUse  = 2 // bad usage, site file or log: nothing was written
	inPart  = 3 // some sites could not be done, or with --strict a person has to look
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second interrupt ends the program at once
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run executes one command line and returns the exit status.
func run(ctx context.Context, args []string, out, err io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	shown := &visible{Writer: out}
	out, err = shown, &visible{Writer: err}
	root.SetOut(out)
	root.SetErr(err)
	code := exitCode(problem.Guard("retotal", func() error { return root.ExecuteContext(ctx) }), err)
	if code == success && shown.err != nil && !errors.Is(shown.err, syscall.EPIPE) {
		fmt.Fprintln(err, "retotal: the output cannot be written:", shown.err)
		return failed
	}
	return code
}

// status is an error that was already told and only sets the exit status.
type status int

func (s status) Error() string { return fmt.Sprintf("exit status %d", int(s)) }

// usage is an error in how the program was called.
type usage struct{ message string }

func (u usage) Error() string { return u.message }

// exitCode prints an error and returns its exit status.
func exitCode(e error, err io.Writer) int {
	var (
		s    status
		u    usage
		list problem.List
		one  *problem.Problem
	)
	switch {
	case e == nil:
		return success
	case errors.As(e, &s):
		return int(s)
	case errors.Is(e, context.Canceled):
		fmt.Fprintln(err, "interrupted; nothing was written")
		return failed
	case errors.As(e, &list), errors.As(e, &one):
		fmt.Fprintln(err, e)
		return badUse
	case errors.As(e, &u):
		fmt.Fprintln(err, "retotal: "+u.message)
		return badUse
	case strings.HasPrefix(e.Error(), "unknown command"):
		fmt.Fprintln(err, "retotal: "+strings.ReplaceAll(e.Error(), "\n\n", "\n"))
		return badUse
	}
	var fault *problem.Fault
	if errors.As(e, &fault) {
		fmt.Fprintln(err, fault)
		return failed
	}
	fmt.Fprintln(err, "retotal:", e)
	return failed
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:     "retotal",
		Version: version,
		Short:   "Correct the flow totals of an open-channel meter whose settings were wrong",
		Long: `retotal reads the level log of an open-channel flow meter and a site file that says how the meter was set
and what was wrong with it. It gives back the flows and totals that the meter should have had, with the proof.

A correction is for a competent person to review before it is reported.`,
		Example: `  retotal demo try              write a demo site to try things on
  retotal check try/site.toml   how were site file and log understood?
  retotal correct try/site.toml corrected totals, report and record`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          noArguments,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.SetFlagErrorFunc(flagError)
	root.AddCommand(correctCommand(), batchCommand(), gatherCommand(), checkCommand(), auditCommand(), rateCommand(),
		plotCommand(), devicesCommand(), draftCommand(), verifyCommand(), compareCommand(), demoCommand(),
		licensesCommand())
	root.SetHelpCommand(helpCommand())
	listTopics(root)
	root.InitDefaultCompletionCmd()
	return root
}

// noArguments refuses arguments of the root: they are misspelt commands.
func noArguments(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	var names []string
	for _, sub := range c.Commands() {
		names = append(names, sub.Name())
	}
	if slices.Contains(topics, args[0]) {
		return usage{fmt.Sprintf("there is no command %q; did you mean retotal help %[1]s?", args[0])}
	}
	return usage{fmt.Sprintf("there is no command %q; %s", args[0], problem.Suggest(args[0], names))}
}

// flagError adds the nearest flag to the message about an unknown one.
func flagError(c *cobra.Command, e error) error {
	message := e.Error()
	if name, ok := strings.CutPrefix(message, "unknown flag: --"); ok {
		var names []string
		c.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
		if near := problem.Nearest(name, names); near != "" {
			message += fmt.Sprintf("; did you mean --%s?", near)
		}
	}
	return usage{message + fmt.Sprintf("; see %s --help", c.CommandPath())}
}

// sites refuses a call without site files.
func sites(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return usage{fmt.Sprintf("%s needs a site file, as in: retotal %s site.toml", c.Name(), c.Name())}
	}
	return nil
}
