package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"rowen/config"
)

// version is set by the linker on a release.
var version = "0.1.0"

// errUsage marks what is wrong with the command line; errPartly a run that was
// done, but left sites or too many rows behind.
var (
	errUsage  = errors.New("wrong usage")
	errPartly = errors.New("done, but not all of it")
)

// exitCode says an error on stderr and turns it into the process's exit code.
func exitCode(err error, stderr io.Writer) int {
	if err == nil {
		return 0
	}
	fmt.Fprintln(stderr, visible("rowen: "+err.Error(), "\n\t"))
	var settings *config.Error
	var signal stopped
	switch {
	case errors.As(err, &signal):
		return signal.code()
	case errors.Is(err, errPartly):
		return 3
	case errors.Is(err, errUsage), errors.As(err, &settings):
		return 2
	}
	return 1
}

// shell is what every command is given: where to write, how to log.
type shell struct {
	stdout    *screen
	stderr    io.Writer
	logFormat string
	profile   string // path to write profiles to; "": none
}

// execute runs one command line. Tests call it in-process.
func execute(args []string, stdout, stderr io.Writer) error {
	sh := &shell{stdout: &screen{out: stdout}, stderr: stderr}
	root := &cobra.Command{
		Use:           "rowen",
		Short:         "ranks the customers for whom more modules are the right next step",
		Version:       version,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.SetArgs(args)
	root.SetOut(sh.stdout)
	root.SetErr(stderr)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return fmt.Errorf("%w: %s: %v; see %s --help", errUsage, c.CommandPath(), err, c.CommandPath())
	})
	root.PersistentFlags().StringVar(&sh.logFormat, "log-format", "text", "text, or json for schedulers")
	root.CompletionOptions.DisableDefaultCmd = true
	root.AddCommand(schedulingTopic(), sh.demoCommand(), sh.initCommand(), sh.checkCommand(), sh.runCommand(), partCommand(sh), sh.explainCommand(), sh.compareCommand(), sh.outcomesCommand(), sh.historyCommand(), sh.exportCommand(), sh.schemaCommand(), sh.tariffCommand())
	setHelp(root)
	root.PersistentFlags().StringVar(&sh.profile, "profile", "", "write CPU and heap profiles beside this path, for developers")
	_ = root.PersistentFlags().MarkHidden("profile")
	root.PersistentPreRunE = func(*cobra.Command, []string) error {
		if sh.logFormat != "text" && sh.logFormat != "json" {
			return fmt.Errorf("%w: --log-format %q must be text or json", errUsage, sh.logFormat)
		}
		return nil
	}
	ctx, done := untilSignal()
	defer done()
	err := afterSignal(ctx, usageOr(root, args, root.ExecuteContext(ctx)))
	if err == nil || errors.Is(err, errPartly) {
		return errors.Join(sh.stdout.err, err)
	}
	return err
}

// usageOr marks cobra's own complaints about a command line as usage errors.
func usageOr(root *cobra.Command, args []string, err error) error {
	if err == nil || errors.Is(err, errUsage) {
		return err
	}
	if _, _, findErr := root.Find(args); findErr != nil {
		return fmt.Errorf("%w: %v; see rowen --help", errUsage, findErr)
	}
	return err
}

// exactly asks for a number of arguments, in our wording.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) != n {
			return fmt.Errorf("%w: %s takes %s; %d arguments were given", errUsage, c.CommandPath(), what, len(args))
		}
		return nil
	}
}

// logger writes to stderr and never holds personal data.
func (sh *shell) logger() zerolog.Logger {
	if sh.logFormat == "json" {
		return zerolog.New(sh.stderr).With().Timestamp().Logger()
	}
	w := zerolog.ConsoleWriter{Out: sh.stderr, NoColor: !isTerminal(sh.stderr), TimeFormat: time.TimeOnly}
	w.FormatMessage = func(message any) string { return visible(fmt.Sprint(message), "") }
	return zerolog.New(w).With().Timestamp().Logger()
}

func isTerminal(w io.Writer) bool {
	if s, ok := w.(*screen); ok {
		w = s.out
	}
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
