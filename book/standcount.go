package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"evenstand"
)

// PlantCount is plants counted on foot at a place, and depths dug there, as it is
// sent and kept. Its bounds are not in its schema: one that cannot be is refused by
// itself, with what to do, and the others of its batch are kept (sound).
type PlantCount struct {
	ID        string    `json:"id" doc:"The counter's own; what comes twice stands once"`
	At        string    `json:"at" doc:"When it was counted, RFC 3339"`
	Planter   string    `json:"planter,omitempty"`
	Field     string    `json:"field"`
	Place     string    `json:"place,omitempty" doc:"In words"`
	Latitude  *float64  `json:"latitude,omitempty"`
	Longitude *float64  `json:"longitude,omitempty"`
	Method    string    `json:"method" doc:"row or hoop"`
	Rows      string    `json:"rows,omitempty" doc:"The planter's rows that were counted; empty: not said"`
	Length    float64   `json:"length_m,omitempty" doc:"Of each row"`
	Counted   int       `json:"rows_counted,omitempty"`
	Diameter  float64   `json:"diameter_m,omitempty" doc:"Of the hoop, inside"`
	Hoops     int       `json:"hoops,omitempty" doc:"How often it was laid down"`
	Plants    *int      `json:"plants,omitempty"`
	Late      *int      `json:"late,omitempty" doc:"Of the plants, two leaves or more behind the others; left out: not looked at"`
	Depths    []float64 `json:"depths_m,omitempty" doc:"Of seeds dug up, below the surface"`
	Note      string    `json:"note,omitempty"`
	Who       string    `json:"who,omitempty"`
	Replaces  string    `json:"replaces,omitempty" doc:"Of one that this corrects"`
}

// CountsReply says what became of counts that came.
type CountsReply struct {
	Stored  []string       `json:"stored"` // ids that are kept now
	Known   []string       `json:"known"`  // that were kept before, just so
	Refused []RefusedCount `json:"refused"`
}

// RefusedCount is a count that is not kept, with what to do.
type RefusedCount struct {
	ID  string `json:"id"`
	Why string `json:"why"`
}

// Area gives the ground that was counted in m2 for rows so far apart in m; NaN
// where it cannot be told.
func (c *PlantCount) Area(spacing float64) float64 {
	a := math.NaN()
	switch {
	case c.Plants == nil:
	case c.Method == "hoop":
		a = math.Pi / 4 * c.Diameter * c.Diameter * float64(c.Hoops)
	case c.Method == "row":
		a = c.Length * float64(c.Counted) * spacing
	}
	if !(a > 0) {
		return math.NaN()
	}
	return a
}

// Time gives when it was counted.
func (c *PlantCount) Time() evenstand.Micros {
	t, err := time.Parse(time.RFC3339, c.At)
	if err != nil {
		return evenstand.NoTime
	}
	return evenstand.FromTime(t)
}

// deepest is how deep a seed can have been dug up, m (judgement).
const deepest = 0.3

// sound says what is wrong with a count, and what to do; empty: nothing.
func (c *PlantCount) sound(rows func(planter string) int, now evenstand.Micros) string {
	t := c.Time()
	switch {
	case strings.TrimSpace(c.ID) == "" || len(c.ID) > 64:
		return "It has no number of its own, or one of more than 64 letters: give it one, so that it stands once however often it is sent."
	case t == evenstand.NoTime:
		return fmt.Sprintf("%q is no time: write it as 2026-05-20T09:30:00-05:00.", c.At)
	case t > now+2*24*3600*evenstand.Second:
		return "It was counted after today: set the clock of the phone, or correct its time."
	case t < now-20*366*24*3600*evenstand.Second:
		return "It was counted more than 20 years ago: correct its time."
	case strings.TrimSpace(c.Field) == "":
		return "It names no field."
	case c.Plants == nil && len(c.Depths) == 0:
		return "It has neither plants nor depths: count the plants, or dig."
	case (c.Latitude == nil) != (c.Longitude == nil):
		return "It has a latitude or a longitude alone: give both, or neither."
	case c.Latitude != nil && !(math.Abs(*c.Latitude) <= 90 && math.Abs(*c.Longitude) <= 180):
		return "Its place does not lie on the earth: give latitude and longitude in degrees."
	case c.Method != "row" && c.Method != "hoop":
		return fmt.Sprintf("%q is no way to count: say row or hoop.", c.Method)
	case c.Late != nil && (c.Plants == nil || *c.Late > *c.Plants || *c.Late < 0):
		return "There are more late plants than plants: count again, or correct one of them."
	}
	if c.Plants != nil {
		switch {
		case *c.Plants < 0 || *c.Plants > 100_000:
			return "So many plants cannot be meant."
		case c.Method == "row" && !(c.Length > 0 && c.Length <= 1000 && c.Counted >= 1 && c.Counted <= 100):
			return "It does not say over what length and how many rows: give length_m and rows_counted."
		case c.Method == "hoop" && !(c.Diameter > 0 && c.Diameter <= 10 && c.Hoops >= 1 && c.Hoops <= 100):
			return "It does not say how wide the hoop is and how often it was laid down: give diameter_m and hoops."
		}
	}
	for _, d := range c.Depths {
		if !(d >= 0 && d <= deepest) {
			return fmt.Sprintf("A depth of %.3g m cannot be meant: depths are in metres, a seed 2 in deep lies at 0.05.", d)
		}
	}
	if c.Rows != "" {
		list, err := evenstand.ParseRows(c.Rows)
		if err != nil {
			return fmt.Sprintf("Rows %q: %v.", c.Rows, err)
		}
		if n := rows(c.Planter); n > 0 && len(list) > 0 && slices.Max(list) > n {
			return fmt.Sprintf("%s has no row %d: it has %d rows.", c.Planter, slices.Max(list), n)
		}
		if c.Method == "row" && c.Plants != nil && len(list) > 0 && len(list) != c.Counted {
			return fmt.Sprintf("It names %d rows and says that %d were counted: make them agree.", len(list), c.Counted)
		}
	}
	return ""
}

// plain is a count without what does not matter: how its text is spaced, and what
// its way of counting does not use.
func (c PlantCount) plain() PlantCount {
	for _, s := range []*string{&c.ID, &c.Planter, &c.Field, &c.Place, &c.Rows, &c.Note, &c.Who, &c.Replaces} {
		*s = strings.TrimSpace(*s)
	}
	if c.Rows != "" {
		if list, err := evenstand.ParseRows(c.Rows); err == nil {
			c.Rows = list.String()
		}
	}
	if c.Plants == nil || c.Method != "row" {
		c.Length, c.Counted = 0, 0
	}
	if c.Plants == nil || c.Method != "hoop" {
		c.Diameter, c.Hoops = 0, 0
	}
	return c
}

// AddCounts keeps counts. Each stands or is refused by itself; one that is known,
// letter for letter, is said to be so. All that are stored are stored at once.
func (b *Book) AddCounts(ctx context.Context, cs []PlantCount) (CountsReply, error) {
	out := CountsReply{Stored: []string{}, Known: []string{}, Refused: []RefusedCount{}}
	planters, err := b.Planters(ctx)
	if err != nil {
		return out, err
	}
	rows := map[string]int{}
	for _, p := range planters {
		if card, err := b.cardNow(ctx, p); err == nil {
			rows[p] = card.Rows
		}
	}
	fields, err := b.fieldNames(ctx)
	if err != nil {
		return out, err
	}
	err = inTx(ctx, b.db, func(tx *sql.Tx) error {
		have, err := countsOf(ctx, tx)
		if err != nil {
			return err
		}
		by := map[string]PlantCount{}
		replaced := map[string]string{}
		for _, c := range have {
			by[c.ID] = c
			if c.Replaces != "" {
				replaced[c.Replaces] = c.ID
			}
		}
		for i := range cs {
			c := cs[i].plain()
			why := c.sound(func(p string) int { return rows[p] }, evenstand.Micros(b.now()))
			was, known := by[c.ID]
			switch {
			case why != "":
			case known && sameCount(was, c):
				out.Known = append(out.Known, c.ID)
				continue
			case known:
				why = "Another count has this number already: a correction gets a number of its own, and says in replaces which one it corrects."
			case c.Planter != "" && rows[c.Planter] == 0 && !slices.Contains(planters, c.Planter):
				why = fmt.Sprintf("There is no planter %q in this logbook: there is %s.", c.Planter, strings.Join(planters, ", "))
			case len(fields) > 0 && !slices.Contains(fields, c.Field):
				why = fmt.Sprintf("There is no field %q in this logbook: there is %s.", c.Field, strings.Join(fields, ", "))
			case c.Replaces != "" && by[c.Replaces].ID == "":
				why = "It corrects a count that is not here: send that one first."
			case c.Replaces != "" && replaced[c.Replaces] != "":
				why = "The count that it corrects was corrected before: correct the later one (" + replaced[c.Replaces] + ")."
			}
			if why != "" {
				out.Refused = append(out.Refused, RefusedCount{c.ID, why})
				continue
			}
			if err := putCount(ctx, tx, &c, evenstand.Micros(b.now())); err != nil {
				return err
			}
			by[c.ID] = c
			if c.Replaces != "" {
				replaced[c.Replaces] = c.ID
			}
			out.Stored = append(out.Stored, c.ID)
		}
		return nil
	})
	if err != nil {
		return CountsReply{}, ledgerError(b.path(ledgerName), err)
	}
	return out, nil
}

// fieldNames gives the fields that were planted or are drawn.
func (b *Book) fieldNames(ctx context.Context) (names []string, err error) {
	days, err := b.Days(ctx)
	if err != nil {
		return nil, err
	}
	for _, d := range days {
		for _, p := range d.Planted {
			if p.Field != evenstand.Unassigned {
				names = append(names, p.Field)
			}
		}
	}
	for _, f := range b.Fields() {
		names = append(names, f.Name)
	}
	slices.Sort(names)
	return slices.Compact(names), nil
}

// sameCount tells whether two are the same but for how they are written.
func sameCount(a, c PlantCount) bool {
	x, err1 := json.Marshal(a.moment())
	y, err2 := json.Marshal(c.moment())
	return err1 == nil && err2 == nil && string(x) == string(y)
}

// moment writes its time in one way.
func (c PlantCount) moment() PlantCount {
	c.At = c.Time().Time().UTC().Format(time.RFC3339Nano)
	if len(c.Depths) == 0 {
		c.Depths = nil
	}
	return c
}

func putCount(ctx context.Context, tx *sql.Tx, c *PlantCount, now evenstand.Micros) error {
	depths, err := json.Marshal(append([]float64{}, c.Depths...))
	if err != nil {
		return err
	}
	or := func(x float64) any {
		if x == 0 {
			return nil
		}
		return x
	}
	whole := func(n int) any {
		if n == 0 {
			return nil
		}
		return n
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO stand_counts (id, received, at, planter, field, place, lat, lon, method, rows, length_m, rows_counted, diameter_m, hoops, plants, late, depths_m, note, who, replaces)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		c.ID, int64(now), int64(c.Time()), c.Planter, c.Field, c.Place, c.Latitude, c.Longitude, c.Method, c.Rows, or(c.Length), whole(c.Counted), or(c.Diameter), whole(c.Hoops), c.Plants, c.Late, string(depths), c.Note, c.Who, c.Replaces)
	return err
}

// countsOf gives all counts, in the order in which they came.
func countsOf(ctx context.Context, db asker) ([]PlantCount, error) {
	rows, err := db.QueryContext(ctx, `SELECT id, at, planter, field, place, lat, lon, method, rows, coalesce(length_m, 0), coalesce(rows_counted, 0), coalesce(diameter_m, 0), coalesce(hoops, 0), plants, late, depths_m, note, who, replaces FROM stand_counts ORDER BY rowid`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := []PlantCount{}
	for rows.Next() {
		var c PlantCount
		var at int64
		var depths string
		if err := rows.Scan(&c.ID, &at, &c.Planter, &c.Field, &c.Place, &c.Latitude, &c.Longitude, &c.Method, &c.Rows, &c.Length, &c.Counted, &c.Diameter, &c.Hoops, &c.Plants, &c.Late, &depths, &c.Note, &c.Who, &c.Replaces); err != nil {
			return nil, err
		}
		if err := json.Unmarshal([]byte(depths), &c.Depths); err != nil {
			return nil, fmt.Errorf("%w: the depths of count %s: %w", ErrCorrupt, c.ID, err)
		}
		c.At = evenstand.Micros(at).Time().UTC().Format(time.RFC3339Nano)
		out = append(out, c)
	}
	return out, rows.Err()
}

// PlantCounts gives the counts that hold, in the order in which they came; with all
// those too that others have replaced.
func (b *Book) PlantCounts(ctx context.Context, all bool) ([]PlantCount, error) {
	cs, err := countsOf(ctx, b.db)
	if err != nil {
		return nil, ledgerError(b.path(ledgerName), err)
	}
	if all {
		return cs, nil
	}
	gone := map[string]bool{}
	for _, c := range cs {
		gone[c.Replaces] = true
	}
	return slices.DeleteFunc(cs, func(c PlantCount) bool { return gone[c.ID] }), nil
}

// mostCounts is how many counts one file may hold, and how long it may be.
const (
	mostCounts    = 10_000
	mostCountText = 32 << 20
)

// ReadCounts reads a file of counts as the page saves it: {"counts": [...]}. Errors
// name what is wrong and where.
//
// A count that cannot be read is among the refused; the others are still given.
func ReadCounts(name string, r io.Reader) (out []PlantCount, refused []RefusedCount, err error) {
	data, err := io.ReadAll(io.LimitReader(r, mostCountText+1))
	if err != nil {
		return nil, nil, &Error{name, err, ""}
	}
	if len(data) > mostCountText {
		return nil, nil, &Error{name, fmt.Errorf("it is longer than %d MB", mostCountText>>20), "Give the file of counts that the page saves"}
	}
	var f struct {
		Counts []json.RawMessage `json:"counts"`
	}
	const hint = `Give the file of counts that the page saves: {"counts": [{"id": …, "at": …, "field": …}]}`
	if err := json.Unmarshal(data, &f); err != nil {
		var at *json.SyntaxError
		if errors.As(err, &at) {
			return nil, nil, &Error{name, fmt.Errorf("byte %d: %w", at.Offset, err), hint}
		}
		return nil, nil, &Error{name, err, hint}
	}
	if f.Counts == nil {
		return nil, nil, &Error{name, fmt.Errorf(`it has no list "counts"`), hint}
	}
	if len(f.Counts) > mostCounts {
		return nil, nil, &Error{name, fmt.Errorf("it has %d counts, more than %d", len(f.Counts), mostCounts), "Give them in several files"}
	}
	for i, raw := range f.Counts {
		var c PlantCount
		if err := json.Unmarshal(raw, &c); err != nil {
			if c.ID == "" {
				c.ID = fmt.Sprintf("count %d of %s", i+1, name)
			}
			refused = append(refused, RefusedCount{c.ID, fmt.Sprintf("It cannot be read: %v.", err)})
			continue
		}
		out = append(out, c)
	}
	return out, refused, nil
}
