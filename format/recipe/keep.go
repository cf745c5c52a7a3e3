package recipe

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"evenstand/format/table"
)

// FileName makes a name for a recipe's file, without its ending, of a box's.
func FileName(box string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(box) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r >= 0x80:
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	if s := strings.Trim(b.String(), "-"); s != "" {
		return s
	}
	return "table"
}

// Rival is the error of a recipe that another one of the logbook keeps from
// the table that it was made of.
type Rival struct {
	Name  string // of the other one
	First bool   // it reads more of the table and would go before; else both alike, so that neither would read it
}

// Error says what the other one does.
func (e *Rival) Error() string {
	if e.First {
		return fmt.Sprintf("the recipe %s reads more of it and would go before", e.Name)
	}
	return fmt.Sprintf("the recipe %s reads it as well, and of two alike neither would", e.Name)
}

// Reads refuses a recipe by which the table that it was made of would not be
// read, beside the others of the logbook: by a *Rival, or by why it does not
// fit. It takes the place of the one of its name.
func (f Format) Reads(ctx context.Context, in fs.FS, ref table.Ref, r Recipe) error {
	f.Recipes = append(slices.DeleteFunc(slices.Clone(f.Recipes), func(o Recipe) bool { return strings.EqualFold(o.Name, r.Name) }), r)
	reads, err := f.Match(ctx, in, ref)
	var two *Twice
	switch {
	case errors.As(err, &two):
		other := two.One
		if other.Name == r.Name {
			other = two.Other
		}
		return &Rival{Name: other.Name}
	case err != nil:
		return err
	case reads.Name != r.Name:
		return &Rival{Name: reads.Name, First: true}
	}
	return nil
}

// Unexplained tells whether an error of Match says that no recipe is for the
// table.
func Unexplained(err error) bool {
	return errors.Is(err, errNoRecipe) || errors.Is(err, errOtherTable)
}

// Tells lists what a recipe reads as what, in plain words.
func (r *Recipe) Tells() []string {
	out := []string{fmt.Sprintf("%q: time, written as %s", r.Time.Column, r.Time.Written.words())}
	if r.Time.Zone != "" {
		out[0] += ", in " + r.Time.Zone
	}
	if r.Place.Latitude != "" {
		out = append(out, fmt.Sprintf("%q and %q: place", r.Place.Latitude, r.Place.Longitude))
	}
	if r.Seeds.Row != "" {
		out = append(out, fmt.Sprintf("%q: each line is a seed of that row", r.Seeds.Row))
	}
	for i := range r.Values {
		v := &r.Values[i]
		out = append(out, fmt.Sprintf("%q: %s", v.Column+v.Word, v.words()))
	}
	return out
}
