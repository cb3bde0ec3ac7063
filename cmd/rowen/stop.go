package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

// stopped is the end that a signal asked for. The exit code is 128 and the
// signal's number, as shells have it.
type stopped struct{ signal syscall.Signal }

func (s stopped) Error() string {
	if s.signal == syscall.SIGINT {
		return "interrupted; nothing was published"
	}
	return "terminated; nothing was published"
}

func (s stopped) code() int { return 128 + int(s.signal) }

// untilSignal gives a context that the first interrupt or terminate ends, so
// that the job clears up behind it. The second one ends the process at once.
func untilSignal() (ctx context.Context, done func()) {
	ctx, cancel := context.WithCancelCause(context.Background())
	signals := make(chan os.Signal, 1)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	go func() {
		select {
		case s := <-signals:
			signal.Stop(signals)
			number, ok := s.(syscall.Signal)
			if !ok {
				number = syscall.SIGINT
			}
			cancel(stopped{number})
		case <-ctx.Done():
		}
	}()
	return ctx, func() { signal.Stop(signals); cancel(nil) }
}

// afterSignal is a command's error, or the signal that stopped it.
func afterSignal(ctx context.Context, err error) error {
	if s, ok := context.Cause(ctx).(stopped); ok && err != nil {
		return s
	}
	return err
}

// closedPipesAreErrors: a reader that goes away makes the next write fail,
// which is said, where it would end the process without a word.
func closedPipesAreErrors() {
	signal.Notify(make(chan os.Signal, 1), syscall.SIGPIPE)
}
