//go:build !unix

package regular

const openWithoutWaiting = 0
