//go:build !unix

package array

import "testing"

func cpuSeconds(b *testing.B) float64 {
	b.Skip("no processor times on this system")
	return 0
}
