package main

import (
	"math"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"testing"
	"time"
)

// 64 MB are 60 % of 107 MB and 25 % of 256 MB; a tenth of a gigabyte is more.
func TestReserveDoesNotGrow(t *testing.T) {
	for mb, want := range map[uint64]int{0: 60, 20: 60, 106: 60, 128: 50, 256: 25, 640: 10, 5000: 10} {
		if got := percent(mb << 20); got != want {
			t.Errorf("%d MB in use: %d %%, want %d", mb, got, want)
		}
	}
	if got := percent(math.MaxUint64); got != leastPct {
		t.Errorf("%d %%", got)
	}
}

// The percentage follows what is in use, up and down.
func TestCollectorFollows(t *testing.T) {
	t.Setenv("GOGC", "")
	was := debug.SetGCPercent(100)
	defer debug.SetGCPercent(was)
	collectSparingly()
	now := func() int {
		s := []metrics.Sample{{Name: "/gc/gogc:percent"}}
		metrics.Read(s)
		return int(s[0].Value.Uint64())
	}
	reaches := func(what string, is func(pct int) bool) {
		t.Helper()
		for until := time.Now().Add(20 * time.Second); !is(now()); time.Sleep(10 * time.Millisecond) {
			if time.Now().After(until) {
				t.Fatalf("%s: %d %%", what, now())
			}
			runtime.GC()
		}
	}
	held := make([]byte, 256<<20)
	reaches("256 MB held", func(pct int) bool { return pct <= 25 })
	runtime.KeepAlive(held)
	held = nil
	reaches("let go", func(pct int) bool { return pct == collectAtPct })
}
