package array

import (
	"testing"

	"rowen/analyze/sun"
	"rowen/ingest"
)

// An array that begins within the readings, and of which neither the register nor
// the data tell a facing, has no model to be cut: days alone are read so.
func TestArrivalWithoutFacing(t *testing.T) {
	v := view{begins: 24, record: new(record)}
	v.Site = &ingest.Site{Arrays: []ingest.Array{{ID: "main"}}}
	v.Catalogue, v.Sun = &ingest.Catalogue{}, &sun.Hours{}
	if w := v.facing(nil); w.model != nil {
		t.Errorf("a model of %+v", w.model)
	}
}
