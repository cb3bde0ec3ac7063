//go:build !unix

package readings

const openWithoutWaiting = 0
