package packed

import (
	"bytes"
	"errors"
	"math"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

type inner struct {
	Code string
	On   time.Time
	Pct  *float64
}

type everything struct {
	Text   string
	Float  float64
	Draws  []float32
	Hours  []uint16
	Off    []int8
	Counts [][3]uint32
	Box    [2]float64
	Int    int
	Small  int32
	Yes    bool
	None   []string
	Empty  []string
	List   []inner
	There  *inner
	Away   *inner
	inner
	Nested struct{ N []int }
}

func whole() everything {
	zero, denver := 0.0, zone("America/Denver")
	v := everything{Text: "a\x00ü", Float: math.NaN(), Draws: []float32{1.5, float32(math.Inf(1))}, Hours: []uint16{0, 65535}, Off: []int8{-128, 127},
		Counts: [][3]uint32{{1, 2, 1 << 31}, {}}, Box: [2]float64{-1, math.Copysign(0, -1)}, Int: -1 << 40, Small: 7, Yes: true, Empty: []string{},
		List: []inner{{"x", time.Date(2026, 7, 1, 0, 0, 0, 5, denver), &zero}, {}}, There: &inner{Code: "y", On: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)}}
	v.Nested.N = []int{3, -3}
	return v
}

// TestRoundTrip: what is taken is what was added, missing apart from zero and none
// apart from empty, and what follows is left.
func TestRoundTrip(t *testing.T) {
	want := whole()
	b := append(Append(nil, &want), 9, 9)
	var got everything
	rest, err := Take(b, &got)
	if err != nil || !bytes.Equal(rest, []byte{9, 9}) {
		t.Fatalf("rest %v, %v", rest, err)
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs(), cmp.AllowUnexported(everything{}), cmpopts.IgnoreFields(everything{}, "inner")); diff != "" {
		t.Error(diff)
	}
	if math.Signbit(got.Box[1]) == false || got.None != nil || got.Empty == nil || got.List[1].Pct != nil {
		t.Error("a sign, or none and empty, are mixed up")
	}
	if !got.List[1].On.IsZero() || got.List[0].On.Location().String() != "America/Denver" || got.List[1].On != (time.Time{}) {
		t.Error("a time lost its zone, or no time became one")
	}
	if !bytes.Equal(Append(nil, &got), b[:len(b)-2]) {
		t.Error("the same value has other bytes")
	}
}

// TestCutShort: every shorter piece is said, and none ends the program.
func TestCutShort(t *testing.T) {
	v := whole()
	b := Append(nil, &v)
	for n := range b {
		var got everything
		if _, err := Take(b[:n], &got); !errors.Is(err, ErrShort) {
			t.Fatalf("%d of %d bytes: %v", n, len(b), err)
		}
	}
	var got struct{ L []inner }
	if _, err := Take([]byte{0xff, 0xff, 0xff, 0xff, 0x7f}, &got); !errors.Is(err, ErrShort) {
		t.Errorf("a list longer than its bytes: %v", err)
	}
}
