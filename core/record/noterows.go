package record

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"evenstand"
)

var (
	rowWord   = regexp.MustCompile(`\b(?:on |in |at |of )?(?:the )?(?:rows? ?#?|r)(\d)`)
	sideWord  = regexp.MustCompile(`\b(?:(?:on|in|at|of) )?(?:the )?(left|right)(?:(?: hand)? (?:side|half|rows|group|wing)| hand)?\b`)
	inches    = regexp.MustCompile(`[0-9½¼¾] $`)
	wholeOne  = regexp.MustCompile(`\b(?:on )?(?:all(?: the)? rows|every row|whole (?:machine|planter)|everywhere)\b`)
	rowSpan   = regexp.MustCompile(`^(\d{1,3})(?: ?(?:-|–|to|through) ?(\d{1,3}))?`)
	oneSpan   = regexp.MustCompile(`^(\d{1,3})(?: ?(?:-|–) ?(\d{1,3}))?`) // row 7 to 180
	clauseEnd = regexp.MustCompile(`[,;:] `)
	thousands = regexp.MustCompile(`^,\d{3}\b`) // 29,000 is no row
	ofItsOwn  = regexp.MustCompile(`^,? (?:(?:up|down|back|is|now|set) )*(?:to|at) [0-9.¼½¾]`)
	rowNext   = regexp.MustCompile(`^ (?:(?:on|in|at|of) )?(?:the )?(?:rows?\b|r\d)`) // behind a value
	rowPart   = regexp.MustCompile(`^ (?:meters?|metres?|units?|box(?:es)?)\b( of\b)?`)
	rowSep    = regexp.MustCompile(`^(?: ?, ?(?:and )?| ?& ?| and )(?:rows? ?|r)?`)
)

// takeRows takes the rows out of a text and gives what is left. Sides are taken
// only when strict: in a remark left may be what is left. When strict, rows in a
// clause of other words behind the value are not what the note is of, and two
// lists of rows are refused.
func (p *noteParser) takeRows(text string, strict bool) (rest string, found bool, err error) {
	low := lower(text)
	if m := wholeOne.FindStringIndex(low); m != nil {
		p.n.saidRows = true
		return cut(text, m[0], m[1]), true, nil
	}
	rows, from, to, err := p.findRows(low, strict)
	if err != nil || from == to {
		return text, false, err
	}
	said := strings.TrimSpace(text[from:to])
	if strict && aside(low, from, to) {
		p.suppose("%q is kept as words: rows that count stand beside what was done, as in closers 40 psi rows 3,4.", said)
		return text, false, nil
	}
	if strict && strings.ContainsAny(low[:from], digits) && clauseEnd.MatchString(low[:from]) && ofItsOwn.MatchString(low[to:]) {
		return text, false, fmt.Errorf("%q has a value of its own: write a note for each value, and rows that are meant as rows 7-9", said)
	}
	rest = cut(text, from, to)
	if strict {
		if _, from, to, err := p.findRows(lower(rest), true); err == nil && from < to && !aside(lower(rest), from, to) {
			return text, false, fmt.Errorf("%q and %q in one note: write a note for each", said, strings.TrimSpace(rest[from:to]))
		}
	}
	p.e.Rows, p.n.saidRows = rows, true
	return rest, true, nil
}

// findRows finds the first rows that a text in small letters names; from is to
// where there are none.
func (p *noteParser) findRows(low string, strict bool) (rows evenstand.Rows, from, to int, err error) {
	if m := rowWord.FindStringSubmatchIndex(low); m != nil {
		span := rowSpan
		if word := low[m[0]:m[2]]; !strings.Contains(word, "rows") {
			span = oneSpan
		}
		parts := 0
		if !strict {
			if parts = p.c.Card.Rows; parts == 0 {
				parts = evenstand.MaxRows
			}
		}
		if strings.HasPrefix(low[m[0]:], "in ") && inches.MatchString(low[:m[0]]) {
			m[0] += len("in ") // 2.1 in row 7
		}
		list, end := rowList(low[m[2]:], span, parts, strings.ContainsAny(low[:m[0]], digits))
		rows, err := evenstand.ParseRows(list)
		if err == nil {
			err = p.known(rows)
		}
		return rows, m[0], m[2] + end, err
	}
	m := sideWord.FindStringSubmatchIndex(low)
	if m == nil || !strict && m[0] == m[2] && m[1] == m[3] { // the bare word
		return nil, 0, 0, nil
	}
	side := low[m[2]:m[3]]
	if low[m[0]:m[1]] == "left" { // 3 units left in the boxes
		if w := strings.Fields(low[:m[0]]); len(w) > 0 {
			last := strings.Trim(w[len(w)-1], ",;:.()")
			if strings.HasPrefix(last, "gal") || packs[last] != "" {
				return nil, 0, 0, nil
			}
		}
	}
	for _, g := range p.c.Card.Groups {
		if g.Kind == "vacuum" && strings.EqualFold(g.Name, side) {
			return append(evenstand.Rows(nil), g.Rows...), m[0], m[1], nil
		}
	}
	switch {
	case !strict:
		p.suppose("Which rows are %s is not on the planter card; the words are kept.", side)
	case !aside(low, m[0], m[1]):
		return nil, 0, 0, fmt.Errorf("the planter card has no vacuum group %q: write the rows, as in rows 1-8", side)
	}
	return nil, 0, 0, nil
}

// aside tells whether rows stand in a clause of other words behind a number, as
// in cleaners 22 psi, mud on row 7.
func aside(low string, from, to int) bool {
	begin := 0
	for _, m := range clauseEnd.FindAllStringIndex(low[:from], -1) {
		begin = m[1]
	}
	if !strings.ContainsAny(low[:begin], "0123456789¼½¾") {
		return false
	}
	end := len(low)
	if m := clauseEnd.FindStringIndex(low[to:]); m != nil {
		end = to + m[0]
	}
	behind := low[to:end]
	if ofItsOwn.MatchString(behind) {
		behind = behind[strings.LastIndexByte(behind[:strings.IndexAny(behind, digits+".")], ' '):] // to 45
	}
	other := strings.Fields(low[begin:from] + " " + behind)
	if bare := low[from:to]; (bare == "left" || bare == "right") && behind == low[to:end] {
		return len(other) > 0 // 3 bags left
	}
	for _, w := range other {
		w = strings.Trim(w, ",;:.()")
		if _, rest, ok := takeNumber(w); ok {
			w = rest
		}
		if _, unit := unitOf(w); w != "" && !unit && packs[w] == "" {
			return true
		}
	}
	return false
}

// known refuses rows that the planter does not have.
func (p *noteParser) known(rows evenstand.Rows) error {
	n := p.c.Card.Rows
	if last := rows[len(rows)-1]; n > 0 && last > n {
		return fmt.Errorf("there is no row %d: the planter has %d rows, 1 at the left", last, n)
	}
	return nil
}

// rowList reads a list at the begin of a text and gives where it ends. A number
// that a unit follows is none of it; up to the row parts it is where the unit may
// be a part of a row: row 3 and 7 meters. Behind a value, valued, a row with one
// of its own is none either: 40 psi on row 3, row 4 to 45.
func rowList(s string, span *regexp.Regexp, parts int, valued bool) (list string, end int) {
	for {
		m := span.FindStringSubmatch(s[end:])
		if m == nil {
			return list, end
		}
		at := end + len(m[0])
		if list != "" {
			list += ","
		}
		list += m[1]
		if m[2] != "" {
			list += "-" + m[2]
		}
		end = at
		sep := rowSep.FindString(s[at:])
		again := strings.Contains(sep, "r")
		switch {
		case strings.Contains(sep, "rows"):
			span = rowSpan
		case again:
			span = oneSpan
		}
		next := span.FindString(s[at+len(sep):])
		if sep == "" || next == "" {
			return list, end
		}
		after := s[at+len(sep)+len(next):]
		if thousands.MatchString(after) || after != "" && (after[0] == '.' && len(after) > 1 && after[1] >= '0' && after[1] <= '9' || after[0] >= 'a' && after[0] <= 'z') {
			return list, end
		}
		if valued && again && ofItsOwn.MatchString(after) {
			return list, end
		}
		word, _ := takeWord(after)
		if m := rowPart.FindStringSubmatch(after); m != nil && m[1] == "" && strings.ContainsAny(sep, "a&r") {
			if n, err := strconv.Atoi(next); err == nil && n <= parts {
				word = ""
			}
		}
		if _, unit := unitOf(word); unit || packs[lower(word)] != "" || rowNext.MatchString(after) {
			return list, end
		}
		end = at + len(sep)
	}
}

// cut takes a part out of a text and closes the gap.
func cut(text string, from, to int) string {
	a, b := strings.TrimRight(text[:from], " ,;"), strings.TrimLeft(text[to:], " ,;")
	return strings.TrimSpace(a + " " + b)
}

// rowsSay writes rows in words.
func rowsSay(rows evenstand.Rows) string {
	switch len(rows) {
	case 0:
		return "the whole planter"
	case 1:
		return "row " + strconv.Itoa(rows[0])
	}
	return "rows " + strings.ReplaceAll(rows.String(), ",", ", ")
}
