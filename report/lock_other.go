//go:build !unix

package report

const canLock = false

// lockFolder does nothing where the system has no lock that ends with the
// process; sweep then leaves all as it is.
func lockFolder(string, bool) (release func(), err error) { return func() {}, nil }
