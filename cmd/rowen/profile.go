package main

import (
	"fmt"
	"os"
	"runtime/pprof"
)

// startProfile writes a CPU profile to path.cpu until stop is called, and a heap
// profile to path.heap then. An empty path does nothing.
func startProfile(path string) (stop func(), err error) {
	if path == "" {
		return func() {}, nil
	}
	cpu, err := os.Create(path + ".cpu")
	if err != nil {
		return nil, fmt.Errorf("writing the profile: %w", err)
	}
	if err := pprof.StartCPUProfile(cpu); err != nil {
		return nil, fmt.Errorf("writing the profile: %w", err)
	}
	return func() {
		pprof.StopCPUProfile()
		cpu.Close()
		if heap, err := os.Create(path + ".heap"); err == nil {
			_ = pprof.WriteHeapProfile(heap)
			heap.Close()
		}
	}, nil
}
