package report

import "github.com/xuri/excelize/v2"

// makeStyles makes one style a column, by its unit.
func (b *workbook) makeStyles() error {
	top := &excelize.Alignment{Vertical: "top", WrapText: true}
	line := []excelize.Border{{Type: "bottom", Color: "D9D9D9", Style: 1}}
	for _, s := range []struct {
		into *int
		is   excelize.Style
	}{
		{&b.title, excelize.Style{Font: &excelize.Font{Bold: true, Size: 16}}},
		{&b.wrap, excelize.Style{Alignment: top}},
		{&b.links, excelize.Style{Alignment: top, Border: line, Font: &excelize.Font{Color: "0563C1", Underline: "single"}}},
		{&b.head, excelize.Style{Alignment: &excelize.Alignment{Vertical: "center", WrapText: true}, Font: &excelize.Font{Bold: true},
			Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"E8EEF4"}}, Border: []excelize.Border{{Type: "bottom", Color: "7F7F7F", Style: 2}}}},
	} {
		id, err := b.NewStyle(&s.is)
		if err != nil {
			return err
		}
		*s.into = id
	}
	for _, c := range b.cols {
		style := &excelize.Style{Alignment: &excelize.Alignment{Vertical: "top", WrapText: true}, Border: line}
		if c.Type == "text" {
			style.Alignment.Horizontal, style.Alignment.Indent = "left", 1 // apart from the number beside it
		}
		if entered[c.Name] {
			style.Fill = excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"FFF9E8"}} // to be filled in
		}
		if c.Name == "called_on" {
			iso := "yyyy-mm-dd"
			style.CustomNumFmt = &iso
		}
		if f := numberFormat(c); f != "" {
			style.CustomNumFmt = &f
		}
		id, err := b.NewStyle(style)
		if err != nil {
			return err
		}
		b.styles = append(b.styles, id)
	}
	return nil
}

// numberFormat is how a spreadsheet shows a column: money and energy without
// decimals, years with one, a share as per cent. "": text.
func numberFormat(c Column) string {
	switch {
	case c.Type == "text":
		return ""
	case c.Unit == "yr":
		return "0.0"
	case c.Unit == "" && c.Type == "number": // a share
		return "0%"
	case c.Unit == "":
		return "0"
	}
	return "#,##0"
}
