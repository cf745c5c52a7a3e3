package book

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenstand"
	measure "evenstand/core/measure/group"
)

// productFile is how much of a product may go on the ground.
type productFile struct {
	Name    string `toml:"name"`
	Applied string `toml:"applied"`
	Pass    string `toml:"pass"`
	Season  string `toml:"season"`
}

// planFile is which lot or hybrid rows are to get.
type planFile struct {
	Field string `toml:"field"`
	Rows  string `toml:"rows"`
	Lot   string `toml:"lot"`
}

// partFile is what a part on some rows costs and is for.
type partFile struct {
	Label   string   `toml:"label"`
	Price   *float64 `toml:"price_per_row"`
	Seasons *float64 `toml:"lasts_seasons"`
	Aim     string   `toml:"aim"`
}

// rateOf is the quantity that a product's limits are amounts of.
func rateOf(a evenstand.Applied) evenstand.Quantity {
	if a == evenstand.AppliedGranular {
		return evenstand.GranularRate
	}
	return evenstand.LiquidRate
}

// parseProducts reads the limits of products: "8.7lb/ac".
func parseProducts(all []productFile, units evenstand.Units) ([]evenstand.ProductLimit, error) {
	var out []evenstand.ProductLimit
	for _, p := range all {
		l := evenstand.ProductLimit{Name: strings.TrimSpace(p.Name)}
		switch p.Applied {
		case "liquid":
			l.Applied = evenstand.AppliedLiquid
		case "granular":
			l.Applied = evenstand.AppliedGranular
		default:
			return nil, fmt.Errorf("product %s: applied = %q: write liquid or granular", p.Name, p.Applied)
		}
		if l.Name == "" {
			return nil, errors.New("a [[product]] has no name: write that of the product, as on the planter card where a tank has it")
		}
		for _, o := range out {
			if strings.EqualFold(o.Name, l.Name) {
				return nil, fmt.Errorf("product %s is given twice; keep one of them", l.Name)
			}
		}
		q := rateOf(l.Applied)
		for _, end := range []struct {
			text string
			to   *float64
		}{{p.Pass, &l.Pass}, {p.Season, &l.Season}} {
			var err error
			if *end.to, err = limitValue(q, strings.TrimSpace(end.text), limitUnit(q, units).Name); err != nil {
				return nil, fmt.Errorf("product %s: %w", l.Name, err)
			}
			if *end.to == 0 {
				return nil, fmt.Errorf("product %s: a limit of nothing: leave it out, or write how much may go on", l.Name)
			}
		}
		if math.IsNaN(l.Pass) && math.IsNaN(l.Season) {
			return nil, fmt.Errorf("product %s: write pass or season, such as pass = \"8.7lb/ac\"", l.Name)
		}
		out = append(out, l)
	}
	return out, nil
}

// parsePlans reads which seed rows are to get.
func parsePlans(all []planFile) ([]evenstand.Plan, error) {
	var out []evenstand.Plan
	for _, p := range all {
		l := evenstand.Plan{Field: strings.TrimSpace(p.Field), Lot: strings.TrimSpace(p.Lot)}
		if l.Lot == "" {
			return nil, errors.New("a [[plan]] has no lot: write the lot or the hybrid that is to be planted, as the notes name it")
		}
		if rows := strings.TrimSpace(p.Rows); rows != "" {
			var err error
			if l.Rows, err = evenstand.ParseRows(rows); err != nil {
				return nil, fmt.Errorf("the plan of %s: %w", l.Lot, err)
			}
		}
		out = append(out, l)
	}
	return out, nil
}

// formatProducts writes the limits of products as parseProducts reads them.
func formatProducts(b *bytes.Buffer, all []evenstand.ProductLimit, units evenstand.Units) {
	for _, p := range all {
		fmt.Fprintf(b, "\n[[product]]\nname = %s\napplied = %s\n", tomlText(p.Name), tomlText(p.Applied.String()))
		u := limitUnit(rateOf(p.Applied), units)
		if !math.IsNaN(p.Pass) {
			fmt.Fprintf(b, "pass = %s # most in one pass\n", tomlText(inUnit(p.Pass, u)+u.Name))
		}
		if !math.IsNaN(p.Season) {
			fmt.Fprintf(b, "season = %s # most in a season\n", tomlText(inUnit(p.Season, u)+u.Name))
		}
	}
}

// formatPlans writes the plans as parsePlans reads them.
func formatPlans(b *bytes.Buffer, all []evenstand.Plan) {
	for _, p := range all {
		b.WriteString("\n[[plan]]\n")
		if p.Field != "" {
			fmt.Fprintf(b, "field = %s\n", tomlText(p.Field))
		}
		if len(p.Rows) > 0 {
			fmt.Fprintf(b, "rows = %s\n", tomlText(p.Rows.String()))
		}
		fmt.Fprintf(b, "lot = %s # or hybrid, as the notes name it\n", tomlText(p.Lot))
	}
}

// parseParts reads what parts cost and are for.
func parseParts(all []partFile) ([]evenstand.SaidPart, error) {
	var out []evenstand.SaidPart
	for _, p := range all {
		l := evenstand.SaidPart{Label: strings.TrimSpace(p.Label), Price: math.NaN(), Seasons: math.NaN(), Aim: strings.TrimSpace(p.Aim)}
		if l.Label == "" {
			return nil, errors.New("a [[part]] has no label: write that of the attachment on the planter card")
		}
		for _, n := range []struct {
			name string
			from *float64
			to   *float64
		}{{"price_per_row", p.Price, &l.Price}, {"lasts_seasons", p.Seasons, &l.Seasons}} {
			if n.from == nil {
				continue
			}
			if *n.to = *n.from; !(*n.to > 0) || math.IsInf(*n.to, 0) {
				return nil, fmt.Errorf("part %s: %s = %v: want a number above 0", l.Label, n.name, *n.from)
			}
		}
		if _, ok := measure.ByID(l.Aim); l.Aim != "" && !ok {
			return nil, fmt.Errorf("part %s: aim = %q: want a measure of the rows, such as skips, spacing, moisture or trash", l.Label, l.Aim)
		}
		for _, o := range out {
			if strings.EqualFold(o.Label, l.Label) {
				return nil, fmt.Errorf("part %s is given twice; keep one of them", l.Label)
			}
		}
		out = append(out, l)
	}
	return out, nil
}

// formatParts writes the parts as parseParts reads them.
func formatParts(b *bytes.Buffer, all []evenstand.SaidPart) {
	for _, p := range all {
		fmt.Fprintf(b, "\n[[part]]\nlabel = %s # as on the planter card\n", tomlText(p.Label))
		if !math.IsNaN(p.Price) {
			fmt.Fprintf(b, "price_per_row = %s\n", decimal(p.Price))
		}
		if !math.IsNaN(p.Seasons) {
			fmt.Fprintf(b, "lasts_seasons = %s\n", decimal(p.Seasons))
		}
		if p.Aim != "" {
			fmt.Fprintf(b, "aim = %s # what it is mounted for\n", tomlText(p.Aim))
		}
	}
}

// decimal writes a number as TOML reads a float.
func decimal(v float64) string {
	n := strconv.FormatFloat(v, 'f', -1, 64)
	if !strings.Contains(n, ".") {
		n += ".0"
	}
	return n
}
