package main

import "io"

// realHomes adds the real loads to other homes.
func realHomes(w io.Writer) error { return nil }
