package record

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"evenstand"
)

const (
	monthPattern = `jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?`
	weekPattern  = `(?:sun|mon|tues|wednes|thurs|fri|satur)day`
	dayPattern   = `(today|yesterday|` + weekPattern + `|sun|mon|tue|wed|thu|fri|sat|` + datePattern + `)`
	lonePattern  = `(today|yesterday|` + weekPattern + `|` + datePattern + `)` // no short ones: the sun is low
	datePattern  = `(?:(?:` + monthPattern + `) \d{1,2}(?:,? \d{4})?|\d{1,2} (?:` + monthPattern + `)(?: \d{4})?|\d{4}-\d\d-\d\d)`
	clockPattern = `(\d{1,2}(?::?\d\d)? ?(?:am|pm|a\.m\.|p\.m\.)|\d{1,2}:?\d\d[ap]|\d{1,2}:\d\d|noon)`
	agoPattern   = `(\d{1,3}(?:\.\d)?|half an?|an?) ?(min|mins|minutes?|h|hrs?|hours?) ago`
)

var (
	agoOnly    = regexp.MustCompile(`^` + agoPattern + `$`)
	timeOnly   = regexp.MustCompile(`^(?:at )?(?:` + dayPattern + `,? (?:at )?)?` + clockPattern + `$`)
	timeFirst  = regexp.MustCompile(`^(?:(?:at )?(?:` + dayPattern + `,? (?:at )?)?` + clockPattern + `|` + agoPattern + `)(?:[:,;.]? |$)`)
	timeLast   = regexp.MustCompile(`(?:^|[,;]? )(?:(?:at )?(?:` + dayPattern + `,? (?:at )?)?` + clockPattern + `|` + agoPattern + `)\.?$`)
	turned     = regexp.MustCompile(`^(?:at )?` + clockPattern + `,? (?:on )?` + dayPattern + `$`) // 5 pm yesterday
	backFirst  = regexp.MustCompile(`^(?:at )?` + clockPattern + `,? (?:on )?` + dayPattern + `(?:[:,;.]? |$)`)
	backLast   = regexp.MustCompile(`(?:^|[,;]? )(?:at )?` + clockPattern + `,? (?:on )?` + dayPattern + `\.?$`)
	dayFirst   = regexp.MustCompile(`^` + lonePattern + `\b[:,;]?`)
	dayLast    = regexp.MustCompile(`(?:^|,? )(?:on )?` + lonePattern + `$`)
	untilLast  = regexp.MustCompile(`(?:^| )(?:for|since|until|till|before|after|by|from|to|and|-)$`)
	rowLast    = regexp.MustCompile(`(?:^| )rows?$`)
	someTime   = regexp.MustCompile(`\b\d{1,2}(?::\d\d| ?[ap]m)\b|\bago\b`)
	bareFirst  = regexp.MustCompile(`^([01]?\d|2[0-3])([0-5]\d) (\D.*)$`) // 1405
	clockAlone = regexp.MustCompile(`^(?:at )?` + clockPattern + `$`)
	clockOnly  = regexp.MustCompile(`^(\d{1,2})(?::?(\d\d))? ?(am|pm|a\.m\.|p\.m\.|a|p)?$`)
)

// takeTime takes the time off the begin or the end of a note.
func (p *noteParser) takeTime(text string) (rest string, err error) {
	low := lower(text)
	said := ""
	first, last := backFirst.FindStringIndex(low), backLast.FindStringIndex(low)
	if first == nil {
		first = timeFirst.FindStringIndex(low)
	}
	if last == nil {
		last = timeLast.FindStringIndex(low)
	}
	if last != nil && untilLast.MatchString(low[:last[0]]) {
		last = nil // stopped until 2:40 pm
	}
	switch {
	case first != nil:
		said, rest = text[first[0]:first[1]], text[first[1]:]
	case last != nil:
		said, rest = text[last[0]:], text[:last[0]]
		if words := strings.TrimLeft(low[last[0]:], ",; "); rowLast.MatchString(low[:last[0]]) && !strings.Contains(words, ":") {
			return "", fmt.Errorf("is %s a row and its hour is missing? Write it as row 7, 2:05 pm", strings.TrimRight(words, "."))
		}
		// May 2 in front, and the time of day behind.
		if m := dayFirst.FindStringIndex(low); m != nil && m[1] <= last[0] && clockAlone.MatchString(strings.Trim(low[last[0]:], ",;. ")) {
			said, rest = strings.TrimRight(text[:m[1]], ":,;")+" "+strings.Trim(said, ",;. "), text[m[1]:last[0]]
		}
	default:
		m := dayFirst.FindStringSubmatchIndex(low)
		if m == nil {
			m = dayLast.FindStringSubmatchIndex(low)
		}
		switch {
		case m == nil:
			if m := bareFirst.FindStringSubmatch(text); m != nil {
				word, _ := takeWord(m[3])
				_, unit := unitOf(word)
				switch clock := m[1] + ":" + m[2]; {
				case unit || packs[lower(word)] != "": // 1200 lb filled
				case p.like(lower(m[3])) != "":
					p.suppose("%s is taken as a time of day, %s.", m[1]+m[2], clock)
					p.e.T, err = p.when(clock)
					return m[3], err
				case len(m[1]) == 2:
					p.suppose("%s is kept as words, and the note is of now. A time of day is written as %s.", m[1]+m[2], clock)
				}
			}
			if someTime.MatchString(low) {
				p.suppose("The time in the text is kept as words, and the note is of now: a time that counts stands first or last.")
			}
			return text, nil
		case low[m[2]:m[3]] != "today":
			return "", needClock(low[m[2]:m[3]])
		}
		return cut(text, m[0], m[1]), nil
	}
	p.e.T, err = p.when(said)
	return strings.TrimSpace(rest), err
}

// sameTime takes the time out of a text whose time was said beside it. They have
// to be the same.
func (p *noteParser) sameTime(text, at string) (rest string, err error) {
	q := noteParser{c: p.c, n: &Note{}, e: evenstand.Entry{T: evenstand.NoTime}}
	t, err := q.when(at)
	if err != nil {
		return text, err
	}
	rest, said := q.takeTime(text)
	switch {
	case said != nil || q.e.T != evenstand.NoTime && q.e.T != t:
		return text, fmt.Errorf("the note says a time of its own, and beside it stands %s: say it once, or keep the words as they are with --what remark", at)
	case q.e.T == evenstand.NoTime:
		return text, nil
	}
	return rest, nil
}

func needClock(day string) error {
	day = strings.TrimSpace(day)
	return fmt.Errorf("%q without a time of day: write it as %s 2:05 pm, or say with --at when it was", day, strings.TrimPrefix(day, "on "))
}

// lower writes ASCII letters small and leaves all bytes in their places.
func lower(s string) string {
	b := []byte(s)
	for i, c := range b {
		if c >= 'A' && c <= 'Z' {
			b[i] = c + 'a' - 'A'
		}
	}
	return string(b)
}

// ahead is how far a time of day may lie ahead before it is taken for that of
// the day before: watches differ.
const ahead = 10 * time.Minute

// ParseWhen reads a time that stands alone, as notes have it: 2:05 pm, may 2
// 14:05, 10 min ago.
func ParseWhen(s string, now evenstand.Micros, zone *time.Location) (evenstand.Micros, error) {
	p := noteParser{c: NoteContext{Now: now, Zone: zone}, n: &Note{}} // a time that may be two is supposed
	return p.when(s)
}

// ParseDone reads when something was done about a trouble that began at since and
// was last seen at seen: a time of day alone is of the day on which it was last seen,
// or of the next where it had not begun by then. All else is as ParseWhen has it.
func ParseDone(s string, since, seen, now evenstand.Micros, zone *time.Location) (evenstand.Micros, error) {
	low := strings.Trim(strings.Join(strings.Fields(lower(s)), " "), ",;:. ")
	day := seen.Time().In(zone)
	today := now.Time().In(zone)
	if !clockAlone.MatchString(low) || seen >= now || day.YearDay() == today.YearDay() && day.Year() == today.Year() {
		return ParseWhen(s, now, zone)
	}
	at := func(add int) (evenstand.Micros, error) {
		end := time.Date(day.Year(), day.Month(), day.Day()+add, 23, 59, 0, 0, zone)
		return ParseWhen(s, min(evenstand.FromTime(end), now), zone)
	}
	t, err := at(0)
	if err == nil && t < since-beforeBegan {
		if next, err := at(1); err == nil && next > t {
			return next, nil
		}
	}
	return t, err
}

// beforeBegan is by how much a time by hand may lie before what it mends began:
// people round, and a begin is known to some minutes. Judgement.
const beforeBegan = 15 * 60 * evenstand.Second

// when reads a time that stands alone.
func (p *noteParser) when(s string) (evenstand.Micros, error) {
	s = strings.Trim(strings.Join(strings.Fields(lower(s)), " "), ",;: ")
	s = strings.TrimSuffix(s, " .")
	now := p.c.Now.Time().In(p.c.Zone)
	if s == "now" {
		return p.c.Now, nil
	}
	if m := agoOnly.FindStringSubmatch(strings.TrimSuffix(s, ".")); m != nil {
		n, err := strconv.ParseFloat(m[1], 64)
		switch {
		case m[1][0] == 'h':
			n = 0.5
		case err != nil: // an hour
			n = 1
		}
		step := 60.0
		if m[2][0] == 'h' {
			step *= 60
		}
		return p.c.Now - evenstand.FromSeconds(n*step), nil
	}
	if t, err := evenstand.ParseTime(strings.ToUpper(s), p.c.Zone); err == nil && strings.Contains(s, "-") {
		if t > p.c.Now+evenstand.Micros(ahead.Microseconds()) {
			return t, fmt.Errorf("%s lies ahead: a note is of what was done", s)
		}
		return t, nil
	}
	if m := turned.FindStringSubmatch(strings.TrimSuffix(s, ".")); m != nil {
		s = m[2] + " " + m[1]
	}
	m := timeOnly.FindStringSubmatch(s)
	if m == nil {
		m = timeOnly.FindStringSubmatch(strings.TrimSuffix(s, "."))
	}
	if m == nil {
		return 0, fmt.Errorf("time %q: write it as 2:05 pm, 14:05, yesterday 5 pm, may 2 2:05 pm or 10 min ago", s)
	}
	hour, minute, open, err := p.clock(m[2])
	if err != nil {
		return 0, err
	}
	on := func(day time.Time, hour int) time.Time {
		return time.Date(day.Year(), day.Month(), day.Day(), hour, minute, 0, 0, p.c.Zone)
	}
	if m[1] == "" {
		var best time.Time
		for _, h := range hours(hour, open) {
			for _, back := range []int{0, -1} {
				if t := on(now.AddDate(0, 0, back), h); !t.After(now.Add(ahead)) && t.After(best) {
					best = t
				}
			}
		}
		if open {
			p.suppose("%s is taken as the last one: %s.", m[2], best.Format("3:04 pm, January 2"))
		} else if best.Day() != now.Day() {
			p.suppose("%s today lies ahead, so it is taken as yesterday's.", m[2])
		}
		return evenstand.FromTime(best), nil
	}
	if open {
		return 0, fmt.Errorf("%q may be in the morning or in the afternoon: write am or pm behind it", m[2])
	}
	day, err := p.day(m[1], now)
	if err != nil {
		return 0, err
	}
	t := on(day, hour)
	if p.weekday(m[1]) >= 0 && t.After(now.Add(ahead)) { // that of last week
		t = on(day.AddDate(0, 0, -7), hour)
	}
	if t.Hour() != hour || t.Minute() != minute {
		return 0, fmt.Errorf("there was no %d:%02d on that day: clocks went ahead", hour, minute)
	}
	for _, twin := range []time.Time{t.Add(-time.Hour), t.Add(time.Hour)} {
		if twin.Hour() == hour {
			p.suppose("Clocks went back, so that %d:%02d came twice: %s is taken.", hour, minute, t.Format("15:04 MST"))
		}
	}
	if t.After(now.Add(ahead)) {
		return 0, fmt.Errorf("%s lies ahead: a note is of what was done", s)
	}
	return evenstand.FromTime(t), nil
}

func hours(h int, open bool) []int {
	if open {
		return []int{h % 12, h%12 + 12}
	}
	return []int{h}
}

// clock reads a time of day; open says that it may be before or after noon.
func (p *noteParser) clock(s string) (hour, minute int, open bool, err error) {
	if s == "noon" {
		return 12, 0, false, nil
	}
	m := clockOnly.FindStringSubmatch(s)
	if m == nil {
		return 0, 0, false, fmt.Errorf("time %q: write it as 2:05 pm or 14:05", s)
	}
	hour, _ = strconv.Atoi(m[1]) // the pattern holds digits only
	if m[2] != "" {
		minute, _ = strconv.Atoi(m[2])
	}
	half := strings.TrimSuffix(strings.ReplaceAll(m[3], ".", ""), "m")
	if hour > 23 || minute > 59 || half != "" && (hour < 1 || hour > 12) {
		return 0, 0, false, fmt.Errorf("there is no time of day %q", s)
	}
	switch half {
	case "a":
		hour %= 12
	case "p":
		hour = hour%12 + 12
	default:
		open = p.c.Units != evenstand.Metric && hour >= 1 && hour <= 12 && m[1][0] != '0'
	}
	return hour, minute, open, nil
}

// weekday gives 0 for Sunday to 6, or -1 for what is no day of the week.
func (p *noteParser) weekday(s string) int {
	for d := time.Sunday; d <= time.Saturday; d++ {
		if name := lower(d.String()); s == name || s == name[:3] {
			return int(d)
		}
	}
	return -1
}

// day reads a day; without a year it is the last one of that name.
func (p *noteParser) day(s string, now time.Time) (time.Time, error) {
	switch s {
	case "today":
		return now, nil
	case "yesterday":
		return now.AddDate(0, 0, -1), nil
	}
	if d := p.weekday(s); d >= 0 {
		return now.AddDate(0, 0, -((int(now.Weekday()) - d + 7) % 7)), nil
	}
	bad := fmt.Errorf("there is no day %q: write it as may 2, 2 may 2026 or 2026-05-02", s)
	if s[4:5] == "-" {
		t, err := time.ParseInLocation("2006-01-02", s, p.c.Zone)
		if err != nil {
			return t, bad
		}
		return t, nil
	}
	f := strings.Fields(strings.ReplaceAll(s, ",", ""))
	if f[0][0] >= '0' && f[0][0] <= '9' {
		f[0], f[1] = f[1], f[0]
	}
	month := time.Month(0)
	for m := time.January; m <= time.December; m++ {
		if name := lower(m.String()); f[0] == name || f[0] == name[:3] || f[0] == "sept" && m == time.September {
			month = m
		}
	}
	d, _ := strconv.Atoi(f[1])  // the pattern holds digits only
	year, last := now.Year(), 8 // a February 29 is at most eight years back
	if len(f) > 2 {
		year, _ = strconv.Atoi(f[2])
		last = 0
	}
	for y := year; month > 0 && y >= year-last; y-- {
		t := time.Date(y, month, d, 0, 0, 0, 0, p.c.Zone)
		if t.Day() == d && t.Month() == month && (last == 0 || !t.After(now)) {
			return t, nil
		}
	}
	return now, bad
}
