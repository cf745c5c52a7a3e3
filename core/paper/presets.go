package paper

import (
	"fmt"
	"slices"
	"strings"

	"evenstand/core/advise"
)

// What lists the papers, in the order in which they are handed out.
func What() []Kind {
	return []Kind{
		{"applications", "Application records", "product, amount, place, time and who of everything that went on beside seed, with what is missing"},
		{"posting", "Central posting", "the sheet for the place where workers read what was applied"},
		{"calibration", "Calibration sheets", "what was calibrated and checked, with its date"},
		{"acres", "Acres", "what was planted, by field, date and hybrid or lot"},
		{"day", "Day hand-over", "the last day: what is off, what runs out, what was changed"},
		{"field", "Field hand-over", "each field: acres, direction of the rows, what went wrong in it, what was done"},
		{"parts", "Parts list", "what rows carry and which of them needs what, with the evidence"},
		{"season", "Season report", "the season in a few pages"},
	}
}

// Kind is one paper.
type Kind struct {
	ID    string `json:"what"`
	Title string `json:"title"`
	Says  string `json:"says"`
}

// For is one that gets papers: which, and what of them stays here.
type For struct {
	ID    string   `json:"for"`
	Title string   `json:"title"`
	What  []string `json:"what"`
	Says  string   `json:"says"`  // what goes out
	Leave []string `json:"leave"` // elements and columns that stay here
	Cost  bool     `json:"cost"`  // money by cause, part, row and field goes along
}

// With is what goes along though it stays here by itself.
type With struct {
	Cost   bool // money by cause, part, row and field
	Speed  bool // what speed cost, and money by day
	People bool // who decided and wrote, beyond what a record must name
}

// person are the elements about people that only who asks for the record needs.
var person = []string{"applicator", "applicator_kind", "certification", "supervisor", "uncertified", "customer", "wind", "temperature", "sds", "legal", "changed", "by"}

// Fors lists who gets papers.
func Fors() []For {
	return []For{
		{"grower", "grower or landlord", []string{"season", "acres", "field", "applications"}, "acres, what went wrong with its cost as a range, what was done, and the application records", nil, true},
		{"agronomist", "agronomist", []string{"acres", "field", "calibration"}, "hybrid or lot by field, faults by place, digs and counts; no money", []string{"cost"}, false},
		{"side-dress", "side-dress operator", []string{"field", "applications"}, "direction and spacing of the rows, what was applied, where it was short; no money, no people", slices.Concat([]string{"cost"}, person), false},
		{"sprayer", "sprayer", []string{"acres", "field"}, "dates of planting and fields; no money, no people", slices.Concat([]string{"cost"}, person), false},
		{"seed-dealer", "seed dealer", []string{"acres", "calibration"}, "lots with their acres, counts and digs; no money, no people", slices.Concat([]string{"cost"}, person), false},
		{"insurance", "insurance", []string{"acres"}, "date of planting and acres by field; nothing else", []string{"cost", "twice", "planter"}, false},
		{"inspector", "inspector", []string{"applications", "posting", "calibration"}, "the application records as they stand with their corrections, posting and calibrations; no money", []string{"cost"}, false},
		{"next-operator", "next operator", []string{"day", "parts", "calibration"}, "what is off, what runs out, what to mend; no money", []string{"cost"}, false},
	}
}

// ForNamed gives one of them; empty is nil, the logbook's own people.
func ForNamed(id string) (*For, error) {
	if id == "" {
		return nil, nil
	}
	all := Fors()
	var names []string
	for i := range all {
		if all[i].ID == id {
			return &all[i], nil
		}
		names = append(names, all[i].ID)
	}
	return nil, fmt.Errorf("nobody is called %q here: say %s", id, strings.Join(names, ", "))
}

// Money tells whether money by cause, part, row and field goes along.
func (c *Context) Money() bool { return c.With.Cost || c.For == nil || c.For.Cost }

// speed tells whether what speed cost goes along, and money by day.
func (c *Context) speed() bool { return c.With.Speed }

// cut takes out of a document what stays here, and says what that is.
func cut(d *Document, c Context) {
	if c.For == nil {
		return
	}
	leave := map[string]bool{}
	for _, id := range c.For.Leave {
		if id == "cost" && c.With.Cost || slices.Contains(person, id) && c.With.People {
			continue
		}
		leave[id] = true
	}
	var out []string
	for i := range d.Sections {
		s := &d.Sections[i]
		s.Pairs = slices.DeleteFunc(s.Pairs, func(p Pair) bool {
			if leave[p.ID] && !slices.Contains(out, advise.Lower(p.Label)) {
				out = append(out, advise.Lower(p.Label))
			}
			return leave[p.ID]
		})
		s.Missing = slices.DeleteFunc(s.Missing, func(m Missing) bool { return leave[m.ID] })
		for k := range s.Tables {
			for _, col := range s.Tables[k].Columns {
				if leave[col.ID] && !slices.Contains(out, advise.Lower(col.Label)) {
					out = append(out, advise.Lower(col.Label))
				}
			}
			s.Tables[k].drop(leave)
		}
		if leave["changed"] { // corrections name people
			for k := range s.Pairs {
				s.Pairs[k].Was = []string{}
				if s.Pairs[k].Entry {
					s.Pairs[k].From = "written down"
				}
			}
		}
	}
	if len(out) > 0 {
		d.LeftOut = append(d.LeftOut, "Left out for "+c.For.Title+": "+strings.Join(out, ", ")+".")
	}
	if !c.Money() || !c.speed() {
		what := "what speed and hours cost"
		if !c.Money() {
			what = "what things cost, also by speed and hour"
		}
		d.LeftOut = append(d.LeftOut, "Left out unless chosen: "+what+", and who decided what.")
	}
}
