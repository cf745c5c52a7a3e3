package web

import (
	"strings"
	"testing"

	"evenstand"
	"evenstand/format/recipe"
	"evenstand/format/table"
)

// What stands between the columns is said in words, also where there is one
// column alone or the sign is a rare one.
func TestWrittenNamesTheSeparator(t *testing.T) {
	for by, want := range map[byte]string{
		',': "columns parted by a comma", ';': "columns parted by a semicolon", '\t': "columns parted by a tab",
		' ': "columns parted by spaces", '|': "columns parted by a bar", 0: "one column", ':': "columns parted by ':'",
	} {
		s := recipe.Sample{Kind: table.Text, Dialect: table.Dialect{Separator: by, Decimal: '.'}}
		if got := written(&s); got != "Text, "+want+", decimal point." {
			t.Errorf("%q: %s", by, got)
		}
	}
}

// A table without anything of seeds by row judges none; what is open by row may.
func TestNoRow(t *testing.T) {
	value := func(q evenstand.Quantity, of string) recipe.Recipe {
		return recipe.Recipe{Values: []recipe.Value{{Quantity: q, Element: of}}}
	}
	for i, tt := range []struct {
		r      recipe.Recipe
		offers []ColumnView
		want   string
	}{
		{value(evenstand.SkipFraction, "row {n}"), nil, ""},
		{value(evenstand.SkipFraction, "machine"), nil, "by row"},
		{value(evenstand.SpacingCV, "row {n}"), []ColumnView{{ByRow: true, State: recipe.Unread, Means: recipe.PartsNot}}, "singulation"},
		{value(evenstand.GroundSpeed, "machine"), []ColumnView{{ByRow: true, State: recipe.Asked}}, ""},
		{recipe.Recipe{Seeds: recipe.Seeds{Row: "row"}}, nil, ""},
		{recipe.Recipe{Place: recipe.Place{Latitude: "lat"}}, nil, ""},
	} {
		got := noRow(&tt.r, tt.offers)
		if (got == "") != (tt.want == "") || !strings.Contains(got, tt.want) {
			t.Errorf("case %d: %q, want %q", i, got, tt.want)
		}
	}
}
