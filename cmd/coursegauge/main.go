// Coursegauge measures fastener heads on photos of an open course of shingles
// and marks the ones that a person must look at.
package main

import (
	"context"
	"errors"
	"os"
	"os/signal"
	"regexp"
	"syscall"

	_ "coursegauge/cmd/coursegauge/codecs" // first: what it leaves out of the start
	"coursegauge/vision"

	"github.com/spf13/cobra"
)

// The exit statuses.
const (
	exitDone    = 0
	exitLook    = 1 // done, and something needs a person
	exitUsage   = 2
	exitFailed  = 3
	exitStopped = 130
)

// needsPerson and stopped end a command whose work is written and told.
var (
	errNeedsPerson = errors.New("something needs a person")
	errStopped     = errors.New("stopped")
)

func main() {
	if isWorker() {
		os.Exit(work(vision.Inspect))
	}
	os.Exit(run(os.Args[1:], newTerminal()))
}

// run carries out one command line and gives its exit status.
func run(args []string, t *terminal) int {
	ctx, release := signal.NotifyContext(context.Background(), stopSignals()...)
	defer release()
	// A reader that has closed its end of a pipe, as head does, loses what is said
	// from then on; the work goes on. Programs that are started are not affected.
	signal.Notify(make(chan os.Signal, 1), syscall.SIGPIPE)
	// A second Ctrl-C ends at once, as it does in any program.
	go func() { <-ctx.Done(); release() }()

	root := newRoot(t)
	root.SetArgs(args)
	root.SetOut(t.out)
	root.SetErr(t.err)
	err := root.ExecuteContext(ctx)
	status := exitStatus(err)
	if status == exitUsage || status == exitFailed {
		t.fail(err)
	}
	return status
}

// stopSignals end the work in order: Ctrl-C, kill, and the end of the terminal
// unless the program was started to outlive it (nohup).
func stopSignals() []os.Signal {
	stop := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) {
		stop = append(stop, syscall.SIGHUP)
	}
	return stop
}

func exitStatus(err error) int {
	var usage usageError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errNeedsPerson):
		return exitLook
	case errors.Is(err, errStopped):
		return exitStopped
	case errors.As(err, &usage):
		return exitUsage
	default:
		return exitFailed
	}
}

func newRoot(t *terminal) *cobra.Command {
	root := &cobra.Command{
		Use:   "coursegauge",
		Short: "measure the fasteners of an open course on photos",
		Long: `coursegauge reads photos of an open course of shingles with a printed card in
them, measures every fastener head against the rules of the product, and writes
a report that shows the few that a person must look at.

Exit status: 0 done; 1 done, and something needs a person (a refused photo);
2 wrong use; 3 could not do it; 130 stopped.`,
		Example:       "  coursegauge inspect lot-7/ --schedule lot-7.yaml --out lot-7-report",
		Version:       version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          noSuchCommand,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(flagError)
	root.SetVersionTemplate(ownVersions().line() + "\n")
	root.AddCommand(newRecord(t))
	root.AddCommand(newLedger(t), newCrew(t), newSampling(t))
	root.AddCommand(newInspect(t), newMerge(t), newCamera(t), newCard(t), newTrial(t), newExplain(t), newReview(t), newVersion(t), newMan())
	return root
}

// notANumber is how the flag library words a number that is none.
var notANumber = regexp.MustCompile(`strconv\.\w+: parsing "[^"]*": .*`)

func flagError(c *cobra.Command, err error) error {
	if words := c.Flags().Args(); c.HasSubCommands() && len(words) > 0 {
		return noSuchCommand(c, words) // the word before the flag is the mistake
	}
	what := notANumber.ReplaceAllString(oneLine(err.Error()), "a whole number is needed")
	hint := c.CommandPath() + " --help shows the flags with an example"
	if near := nearFlag(c, err); near != "" {
		hint = "did you mean: --" + near
	}
	return usageError{what, hint}
}
