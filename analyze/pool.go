package analyze

import (
	"context"
	"fmt"
	"runtime/debug"

	"golang.org/x/sync/errgroup"
)

// eachSite runs work for sites 0..n-1 on a number of workers and hands the
// results to deliver one after another in the order of the sites, so that
// nothing downstream depends on how many workers there are. No more than a few
// results wait at a time.
//
// An error of work is that site's failure: deliver gets the zero T and the
// error, and the others go on. So is a panic, as the last net. An error of
// deliver ends the pass.
func eachSite[T any](ctx context.Context, n, workers int, work func(worker, site int) (T, error), deliver func(site int, t T, failed error) error) error {
	type result struct {
		t      T
		failed error
	}
	type ticket struct {
		site int
		done chan result
	}
	g, ctx := errgroup.WithContext(ctx)
	todo := make(chan ticket)
	queue := make(chan ticket, 2*workers)

	g.Go(func() error {
		defer close(todo)
		defer close(queue)
		for i := range n {
			t := ticket{i, make(chan result, 1)}
			select {
			case queue <- t:
			case <-ctx.Done():
				return ctx.Err()
			}
			select {
			case todo <- t:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	for w := range workers {
		g.Go(func() error {
			for t := range todo {
				var r result
				r.t, r.failed = guarded(func() (T, error) { return work(w, t.site) })
				t.done <- r
			}
			return nil
		})
	}
	g.Go(func() error {
		for t := range queue {
			select {
			case r := <-t.done:
				if err := deliver(t.site, r.t, r.failed); err != nil {
					return err
				}
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	return g.Wait()
}

// guarded turns a panic into an error that says where it happened.
func guarded[T any](f func() (T, error)) (t T, err error) {
	defer func() {
		if p := recover(); p != nil {
			var zero T
			t, err = zero, fmt.Errorf("judging the site: %v (%s)", p, firstOwnFrame(debug.Stack()))
		}
	}()
	if t, err = f(); err != nil {
		var zero T
		return zero, fmt.Errorf("judging the site: %w", err)
	}
	return t, nil
}
