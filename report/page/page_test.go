package page

import (
	"bytes"
	"io"
	"math"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

type writer interface{ Write(io.Writer) error }

func render(t *testing.T, p writer) string {
	t.Helper()
	var b, again bytes.Buffer
	if err := p.Write(&b); err != nil {
		t.Fatal(err)
	}
	if err := p.Write(&again); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Fatalf("written twice the page differs (%v)", err)
	}
	return b.String()
}

func both() map[string]writer { return map[string]writer{"index": sample(), "brief": sampleBrief()} }

// elements parses a page and gives its elements in order.
func elements(t *testing.T, page string) []*html.Node {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	var all []*html.Node
	for n := range root.Descendants() {
		if n.Type == html.ElementNode {
			all = append(all, n)
		}
	}
	return all
}

func attr(n *html.Node, key string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val, true
		}
	}
	return "", false
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

// hostile is what a register must not be able to run on a page.
const hostile = `"><script>alert(1)</script><img src=x onerror=alert(1)>' onmouseover='x </style></svg>`

// spoil puts hostile text into every text of a value.
func spoil(v reflect.Value) int {
	switch v.Kind() {
	case reflect.String:
		v.SetString(hostile)
		return 1
	case reflect.Struct:
		n := 0
		for i := range v.NumField() {
			n += spoil(v.Field(i))
		}
		return n
	case reflect.Pointer:
		if v.IsNil() {
			return 0
		}
		return spoil(v.Elem())
	case reflect.Slice:
		n := 0
		for i := range v.Len() {
			n += spoil(v.Index(i))
		}
		return n
	}
	return 0
}

// TestHostileText: whatever stands in a text, nothing but the page's own script
// is there to run, and the text is read as it was written.
func TestHostileText(t *testing.T) {
	for name, p := range both() {
		if n := spoil(reflect.ValueOf(p).Elem()); n < 50 {
			t.Fatalf("%s: only %d texts were spoilt", name, n)
		}
		scripts, seen := 0, false
		for _, n := range elements(t, render(t, p)) {
			switch n.Data {
			case "script":
				if kind, _ := attr(n, "type"); kind == "application/json" { // data: a browser does not run it
					continue
				}
				scripts++
				if textOf(n) != script {
					t.Errorf("%s: a script that is not the page's own: %.80s", name, textOf(n))
				}
			case "img", "iframe", "object", "embed", "base", "form", "link":
				t.Errorf("%s: element %s", name, n.Data)
			case "p", "td", "th", "li":
				seen = seen || strings.Contains(textOf(n), hostile)
			}
			for _, a := range n.Attr {
				if strings.HasPrefix(a.Key, "on") {
					t.Errorf("%s: <%s %s>", name, n.Data, a.Key)
				}
			}
		}
		if want := map[string]int{"index": 1, "brief": 0}[name]; scripts != want {
			t.Errorf("%s: %d scripts, want %d", name, scripts, want)
		}
		if !seen {
			t.Errorf("%s: the text is not on the page as it was written", name)
		}
	}
}

// TestLinksGoNowhereElse: a link to a brief stays one; a script for a link does not.
func TestLinksGoNowhereElse(t *testing.T) {
	p := sample()
	p.Rows = p.Rows[:2]
	p.Rows[0].Brief = "javascript:alert(1)"
	p.Repairs = p.Repairs[:2]
	p.Repairs[1].Sheet = "javascript:alert(1)"
	var hrefs []string
	for _, n := range elements(t, render(t, p)) {
		if href, ok := attr(n, "href"); ok {
			hrefs = append(hrefs, href)
		}
	}
	if got := strings.Join(hrefs, " "); got != "#list #ZgotmplZ briefs/OT-0026.html briefs/OT-0077.html #ZgotmplZ" {
		t.Errorf("links %s", got)
	}
}

// TestStandsAlone: no page needs anything from anywhere.
func TestStandsAlone(t *testing.T) {
	for name, p := range both() {
		page := render(t, p)
		for _, bad := range []string{"http:", "https:", "//cdn", "@import", "url(", "<link", " src="} {
			if strings.Contains(page, bad) {
				t.Errorf("%s holds %q", name, bad)
			}
		}
		if !strings.Contains(page, "default-src &#39;none&#39;") {
			t.Errorf("%s: no policy against what comes from elsewhere", name)
		}
	}
}

// TestNoPersonalDataOnThePage: the page has no place for it.
func TestNoPersonalDataOnThePage(t *testing.T) {
	var look func(reflect.Type)
	seen := map[reflect.Type]bool{}
	look = func(ty reflect.Type) {
		for ty.Kind() == reflect.Slice {
			ty = ty.Elem()
		}
		if ty.Kind() != reflect.Struct || seen[ty] {
			return
		}
		seen[ty] = true
		for f := range ty.Fields() {
			if regexp.MustCompile(`(?i)customer|contact|phone|mail|address`).MatchString(f.Name) {
				t.Errorf("%s.%s", ty, f.Name)
			}
			look(f.Type)
		}
	}
	look(reflect.TypeFor[Page]())
	if len(seen) < 5 {
		t.Fatalf("only %d types were looked at", len(seen))
	}
}

// TestReadableWithoutScripts: every row and every caution is there as written,
// and only the tools of the script are hidden.
func TestReadableWithoutScripts(t *testing.T) {
	p := sample()
	rows := 0
	for _, n := range elements(t, render(t, p)) {
		if _, ok := attr(n, "data-rank"); ok {
			rows++
		}
		if id, _ := attr(n, "id"); id != "tools" && id != "nothing" && id != "more" {
			if _, hidden := attr(n, "hidden"); hidden {
				t.Errorf("<%s> is hidden", n.Data)
			}
		}
	}
	if rows != len(p.Rows) {
		t.Errorf("%d rows of %d", rows, len(p.Rows))
	}
}

// TestCautions: both pages say what the work must not be taken for.
func TestCautions(t *testing.T) {
	for name, p := range both() {
		page := render(t, p)
		for _, c := range Cautions {
			if !strings.Contains(html.UnescapeString(page), c) {
				t.Errorf("%s does not say %q", name, c)
			}
		}
	}
	all := strings.Join(Cautions, " ")
	for _, must := range []string{"desk screening, not a design", "Roof structure and access", "panelboard's real condition and labels", "utility's rules", "licensed people under local codes", "can kill", "before inspection and the permission to operate"} {
		if !strings.Contains(all, must) {
			t.Errorf("the cautions do not say %q", must)
		}
	}
}

// TestStructure: language, one heading of the first rank, tables with captions
// and headed columns, drawings that are named or passed over.
func TestStructure(t *testing.T) {
	for name, p := range both() {
		h1, ids, labels := 0, map[string]bool{}, []string{}
		for _, n := range elements(t, render(t, p)) {
			if id, ok := attr(n, "id"); ok {
				if ids[id] {
					t.Errorf("%s: id %s twice", name, id)
				}
				ids[id] = true
			}
			if l, ok := attr(n, "aria-labelledby"); ok {
				labels = append(labels, l)
			}
			switch n.Data {
			case "html":
				if lang, _ := attr(n, "lang"); lang != "en" {
					t.Errorf("%s: lang %q", name, lang)
				}
			case "h1":
				h1++
			case "th":
				if scope, _ := attr(n, "scope"); scope != "col" && scope != "row" {
					t.Errorf("%s: a heading cell without scope: %s", name, textOf(n))
				}
			case "table":
				class, _ := attr(n, "class")
				if c := n.FirstChild; class != "ceilings" && !hasChild(n, "caption") {
					t.Errorf("%s: a table without caption: %v", name, c.Data)
				}
			case "svg":
				role, _ := attr(n, "role")
				if _, passed := attr(n, "aria-hidden"); !passed && role != "img" {
					t.Errorf("%s: a drawing that is neither named nor passed over", name)
				}
			}
		}
		if h1 != 1 {
			t.Errorf("%s: %d headings of the first rank", name, h1)
		}
		for _, l := range labels {
			if !ids[l] {
				t.Errorf("%s: nothing has the id %s", name, l)
			}
		}
	}
}

func hasChild(n *html.Node, name string) bool {
	for c := range n.ChildNodes() {
		if c.Data == name {
			return true
		}
	}
	return false
}

// TestContrast: text stands out from what is behind it as WCAG 2.1 asks
// (1.4.3: 4.5 to 1), in both schemes; the ratio is computed by its definition.
func TestContrast(t *testing.T) {
	blocks := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllStringSubmatch(styles, -1)
	if len(blocks) != 3 {
		t.Fatalf("%d sets of colours", len(blocks))
	}
	for i, b := range blocks {
		colours := map[string]float64{}
		for _, m := range regexp.MustCompile(`--([a-z_-]+): (#[0-9a-f]+)`).FindAllStringSubmatch(b[1], -1) {
			colours[m[1]] = luminance(t, m[2])
		}
		for _, pair := range [][2]string{{"ink", "paper"}, {"soft", "paper"}, {"accent", "paper"}, {"care", "paper"}, {"ink", "care-paper"}, {"care", "care-paper"}, {"ink", "sheet"}} {
			a, b := colours[pair[0]], colours[pair[1]]
			if ratio := (max(a, b) + 0.05) / (min(a, b) + 0.05); ratio < 4.5 {
				t.Errorf("set %d: %s on %s has %.2f to 1", i, pair[0], pair[1], ratio)
			}
		}
	}
}

func luminance(t *testing.T, hex string) float64 {
	hex = hex[1:]
	if len(hex) == 3 {
		hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
	}
	n, err := strconv.ParseUint(hex, 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	channel := func(shift uint) float64 {
		c := float64(n>>shift&255) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*channel(16) + 0.7152*channel(8) + 0.0722*channel(0)
}

// TestWords: each lane of the contract has a name and a meaning.
func TestWords(t *testing.T) {
	for _, code := range strings.Fields("call prepare repair watch no_gain blocked no_data do_not_contact") {
		if laneName(code) == code || laneMeans(code) == "" || !strings.Contains(styles, ".l-"+code+" ") {
			t.Errorf("lane %s has no words or no colour", code)
		}
	}
}

func TestNumbers(t *testing.T) {
	nan := math.NaN()
	for got, want := range map[string]string{
		whole(0): "0", whole(999.4): "999", whole(999.5): "1,000", whole(1234567): "1,234,567", whole(-1020): "−1,020", whole(-0.4): "0", whole(nan): "not known",
		span(Interval{5, -1500, 2500}): "−1,500 to 2,500", span(Interval{5, nan, 3}): "range not known",
		years(8.44): "8.4 years", years(nan): "never", years(math.Inf(1)): "never",
		share(1, 300): "under 1 %", share(0, 300): "0 %", share(150, 300): "50 %", share(0, 0): "",
		plural(1, "site", "sites"): "1 site", plural(0, "site", "sites"): "0 sites", plural(1200, "site", "sites"): "1,200 sites",
		join(nil): "", join([]string{"a"}): "a", join([]string{"a", "b", "c"}): "a, b and c",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// TestEmptyPages: a fleet without anything to say still gives whole pages.
func TestEmptyPages(t *testing.T) {
	if page := render(t, &Page{}); !strings.Contains(page, "Nobody to call this month") {
		t.Error("an empty list does not say so")
	}
	render(t, &Brief{})
}
