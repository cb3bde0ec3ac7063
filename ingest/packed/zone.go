package packed

import (
	"sync"
	"time"
)

var zones sync.Map // by name: *time.Location

// zone gives a time zone by its name. A name that the zone database does not have
// is that of no value that Append was given here.
func zone(name string) *time.Location {
	if z, ok := zones.Load(name); ok {
		return z.(*time.Location)
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(ErrShort)
	}
	zones.Store(name, z)
	return z
}
