// Package line is the manners of both command lines: how a command ends, what counts as wrong use, and how faults are
// printed.
//
// It guarantees the exit status: 0 done, 2 wrong use or input that cannot be read, 1 anything else; what went wrong is
// on standard error, each fault on its own line. It never prints a usage page instead of an answer.
package line

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"ionward/agent/trace"
	"ionward/configs"
)

// The exit status of a command.
const (
	Done   = 0
	Failed = 1
	Wrong  = 2 // wrong use, or input that cannot be read
)

// Usage is wrong use of a command.
type Usage struct{ Err error }

// Error is the message of the error inside.
func (u Usage) Error() string { return u.Err.Error() }

// Usagef makes a Usage.
func Usagef(format string, args ...any) error { return Usage{fmt.Errorf(format, args...)} }

// Main runs a root command on the process's arguments and exits. An interrupt cancels its context; a second one kills.
func Main(root *cobra.Command) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	os.Exit(Execute(ctx, root, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// Execute runs a root command on arguments and gives its exit status.
func Execute(ctx context.Context, root *cobra.Command, args []string, in io.Reader, out, errOut io.Writer) int {
	root.SilenceErrors, root.SilenceUsage = true, true
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return Usage{err} })
	err := root.ExecuteContext(ctx)
	if err == nil {
		return Done
	}
	for _, text := range strings.Split(err.Error(), "\n") {
		fmt.Fprintf(errOut, "%s: %s\n", root.Name(), text)
	}
	return status(err)
}

// status sorts errors: what the user gave, or what went wrong here.
func status(err error) int {
	var usage Usage
	var fault *trace.Fault
	var faults configs.Faults
	switch {
	case errors.As(err, &usage), errors.As(err, &fault), errors.As(err, &faults):
		return Wrong
	// Cobra has no type for a command that does not exist.
	case strings.HasPrefix(err.Error(), "unknown command"):
		return Wrong
	}
	return Failed
}

// Exactly refuses any other number of arguments as wrong use; what says what the command takes.
func Exactly(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != n {
			return Usagef("%s takes %s (see %s --help)", cmd.Name(), what, cmd.CommandPath())
		}
		return nil
	}
}
