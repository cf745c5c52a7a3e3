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
	dayPattern   = `(today|yesterday|(?:` + monthPattern + `) \d{1,2}(?:,? \d{4})?|\d{1,2} (?:` + monthPattern + `)(?: \d{4})?|\d{4}-\d\d-\d\d)`
	clockPattern = `(\d{1,2}(?::\d\d)? ?(?:am|pm|a\.m\.|p\.m\.)|\d{1,2}:\d\d[ap]|\d{1,2}:\d\d|noon)`
	agoPattern   = `(\d{1,3}) ?(min|mins|minutes?|h|hrs?|hours?) ago`
)

var (
	agoOnly   = regexp.MustCompile(`^` + agoPattern + `$`)
	timeOnly  = regexp.MustCompile(`^(?:at )?(?:` + dayPattern + `,? (?:at )?)?` + clockPattern + `$`)
	timeFirst = regexp.MustCompile(`^(?:(?:at )?(?:` + dayPattern + `,? (?:at )?)?` + clockPattern + `|` + agoPattern + `)(?:[:,;.]? |$)`)
	timeLast  = regexp.MustCompile(`(?:^|[,;]? )(?:(?:at )?(?:` + dayPattern + `,? (?:at )?)?` + clockPattern + `|` + agoPattern + `)\.?$`)
	dayFirst  = regexp.MustCompile(`^` + dayPattern + `\b`)
	dayLast   = regexp.MustCompile(`(?:^| )(?:on )?` + dayPattern + `$`)
	clockOnly = regexp.MustCompile(`^(\d{1,2})(?::(\d\d))? ?(am|pm|a\.m\.|p\.m\.|a|p)?$`)
)

// takeTime takes the time off the begin or the end of a note.
func (p *noteParser) takeTime(text string) (rest string, err error) {
	low := lower(text)
	from, to := 0, 0
	if m := timeFirst.FindStringIndex(low); m != nil {
		from, to, rest = m[0], m[1], text[m[1]:]
	} else if m := timeLast.FindStringIndex(low); m != nil {
		from, to, rest = m[0], m[1], text[:m[0]]
	} else if m := dayFirst.FindString(low); m != "" {
		return "", needClock(m)
	} else if m := dayLast.FindString(low); m != "" {
		return "", needClock(m)
	} else {
		return text, nil
	}
	p.n.Entry.T, err = p.when(text[from:to])
	return strings.TrimSpace(rest), err
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

// when reads a time that stands alone.
func (p *noteParser) when(s string) (evenstand.Micros, error) {
	s = strings.Trim(strings.Join(strings.Fields(lower(s)), " "), ",;: ")
	s = strings.TrimSuffix(s, " .")
	now := p.c.Now.Time().In(p.c.Zone)
	if s == "now" {
		return p.c.Now, nil
	}
	if m := agoOnly.FindStringSubmatch(strings.TrimSuffix(s, ".")); m != nil {
		n, _ := strconv.Atoi(m[1]) // the pattern holds digits only
		step := evenstand.Micros(60) * evenstand.Second
		if m[2][0] == 'h' {
			step *= 60
		}
		return p.c.Now - evenstand.Micros(n)*step, nil
	}
	if t, err := evenstand.ParseTime(strings.ToUpper(s), p.c.Zone); err == nil && strings.Contains(s, "-") {
		if t > p.c.Now+evenstand.Micros(ahead.Microseconds()) {
			return t, fmt.Errorf("%s lies ahead: a note is of what was done", s)
		}
		return t, nil
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

// day reads a day; without a year it is the last one of that name.
func (p *noteParser) day(s string, now time.Time) (time.Time, error) {
	switch s {
	case "today":
		return now, nil
	case "yesterday":
		return now.AddDate(0, 0, -1), nil
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
