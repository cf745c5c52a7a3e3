package recipe

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand/format/table"
)

// The headers are invented, as different makers might write them; what is
// right was set down by hand before the guess was looked at.
var headers = []struct {
	name string
	file string // first lines; a line "..." repeats the one before with a later time
	// want: "time: WRITTEN ZONE" and for each column "NAME: key" (read so
	// without asking), "NAME? key | key" (asked, among these the right one
	// first), "NAME-" (left out), "!" an error
	want string
}{
	{"one row a column, US units in brackets", `Time,Speed (mph),Vacuum L (inH2O),Row 1 Skips (%),Row 2 Skips (%),Row 1 Doubles (%),Row 2 Doubles (%)
2026-05-02 14:12:08,5.1,20.4,0.5,0.0,1.2,0.4
2026-05-02 14:12:09,5.1,20.1,0.0,1.0,1.2,0.4
`, `time: year month day ?
Speed (mph): ground_speed, machine, mph
Vacuum L (inH2O)? vacuum, left, inH2O
Row {n} Skips (%): skip_fraction, row {n}, %
Row {n} Doubles (%): double_fraction, row {n}, %`},
	{"German, decimal comma", `Datum;Uhrzeit;Geschwindigkeit [km/h];Unterdruck links [mbar];Reihe 01 Fehlstellen [%];Reihe 02 Fehlstellen [%];Reihe 01 Doppelstellen [%];Reihe 02 Doppelstellen [%]
02.05.2026;14:12:08;8,2;51,0;0,5;0,0;1,2;0,4
02.05.2026;14:12:09;8,3;50,5;0,0;1,0;1,2;0,4
`, `time: day month year ?
Geschwindigkeit [km/h]: ground_speed, machine, km/h
Unterdruck links [mbar]: vacuum, left, mbar
Reihe {n} Fehlstellen [%]: skip_fraction, row {n}, %
Reihe {n} Doppelstellen [%]: double_fraction, row {n}, %`},
	{"French", `Horodatage;Vitesse (km/h);Dépression (mbar);Rang 1 manques (%);Rang 2 manques (%);Rang 1 doublons (%);Rang 2 doublons (%);Densité consigne (graines/ha)
02/05/2026 14:12:08;8,2;51,0;0,5;0,0;1,2;0,4;79000
13/05/2026 14:12:09;8,3;50,5;0,0;1,0;1,2;0,4;79000
`, `time: day month year ?
Vitesse (km/h): ground_speed, machine, km/h
Dépression (mbar): vacuum, machine, mbar
Rang {n} manques (%): skip_fraction, row {n}, %
Rang {n} doublons (%): double_fraction, row {n}, %
Densité consigne (graines/ha): seed_rate_target, machine, 1/ha`},
	{"Spanish, day or month first not told", `Fecha Hora;Velocidad (km/h);Vacío (mbar);Surco 1 fallos (%);Surco 2 fallos (%);Surco 1 dobles (%);Surco 2 dobles (%)
02/05/2026 14:12:08;8,2;51,0;0,5;0,0;1,2;0,4
02/05/2026 14:12:09;8,3;50,5;0,0;1,0;1,2;0,4
`, `time? day month year | month day year
Velocidad (km/h): ground_speed, machine, km/h
Vacío (mbar): vacuum, machine, mbar
Surco {n} fallos (%): skip_fraction, row {n}, %
Surco {n} dobles (%): double_fraction, row {n}, %`},
	{"Dutch", `Tijdstip;Rijsnelheid (km/h);Onderdruk (mbar);Rij 1 missers (%);Rij 2 missers (%);Rij 1 dubbele (%);Rij 2 dubbele (%)
2026-05-02 14:12:08;8,2;51,0;0,5;0,0;1,2;0,4
2026-05-02 14:12:09;8,3;50,5;0,0;1,0;1,2;0,4
`, `time: year month day ?
Rijsnelheid (km/h): ground_speed, machine, km/h
Onderdruk (mbar): vacuum, machine, mbar
Rij {n} missers (%): skip_fraction, row {n}, %
Rij {n} dubbele (%): double_fraction, row {n}, %`},
	{"Portuguese", `Data hora;Velocidade (km/h);Vácuo (kPa);Linha 1 falhas (%);Linha 2 falhas (%);Linha 1 duplas (%);Linha 2 duplas (%);População (sementes/ha)
02/05/2026 14:12:08;6,2;5,10;0,5;0,0;1,2;0,4;65000
22/05/2026 14:12:09;6,3;5,05;0,0;1,0;1,2;0,4;65100
`, `time: day month year ?
Velocidade (km/h): ground_speed, machine, km/h
Vácuo (kPa): vacuum, machine, kPa
Linha {n} falhas (%): skip_fraction, row {n}, %
Linha {n} duplas (%): double_fraction, row {n}, %
População (sementes/ha): seed_rate, machine, 1/ha`},
	{"no units at all", `timestamp,speed,vacuum,row1_skips,row2_skips
1777749128.120,5.1,20.4,0.5,0.0
1777749129.120,5.1,20.1,0.0,3.0
`, `time: seconds
speed? ground_speed, machine, mph | ground_speed, machine, km/h | ground_speed, machine, m/s
vacuum? vacuum, machine, inH2O | vacuum, machine, mbar
row{n}_skips? skip_fraction, row {n}, %`},
	{"down force may be two things", `Time (UTC),Row 1 Down Force (lbs),Row 2 Down Force (lbs),Row 1 Ground Contact (%),Row 2 Ground Contact (%)
2026-05-02T14:12:08Z,160,150,99,98
2026-05-02T14:12:09Z,161,152,99,100
`, `time: year month day
Row {n} Down Force (lbs)? applied_force, row {n}, lbf | gauge_wheel_load, row {n}, lbf
Row {n} Ground Contact (%): wheel_off_share, row {n}, %, opposite`},
	{"a line for each row", `utc_ms,row,seeds,skips_pct,doubles_pct
1777749128120,1,17,0.0,0.0
1777749128120,2,16,5.9,0.0
1777749128120,3,18,0.0,5.6
1777749129120,1,16,0.0,0.0
1777749129120,2,18,5.9,0.0
1777749129120,3,16,0.0,5.6
1777749130120,1,17,0.0,0.0
1777749130120,2,17,5.9,0.0
1777749130120,3,18,0.0,5.6
1777749131120,1,15,0.0,0.0
1777749131120,2,16,5.9,0.0
1777749131120,3,17,0.0,5.6
`, `time: milliseconds
seeds: seed_count, row {n}
skips_pct: skip_fraction, row {n}, %
doubles_pct: double_fraction, row {n}, %`},
	{"a line for each value", `Zeit;Kanal;Wert;Einheit
2026-05-02 14:12:08;Reihe 1 Fehlstellen (%);0,5;%
2026-05-02 14:12:08;Reihe 2 Fehlstellen (%);0,0;%
2026-05-02 14:12:08;Geschwindigkeit (km/h);8,2;km/h
2026-05-02 14:12:09;Reihe 1 Fehlstellen (%);0,5;%
2026-05-02 14:12:09;Reihe 2 Fehlstellen (%);0,0;%
2026-05-02 14:12:09;Geschwindigkeit (km/h);8,2;km/h
`, `time: year month day ?
Reihe {n} Fehlstellen (%): skip_fraction, row {n}, %
Geschwindigkeit (km/h): ground_speed, machine, km/h
Einheit-`},
	{"positions of a receiver", `UTC Time;Latitude;Longitude;Altitude (m);Speed (km/h);Heading;HDOP;Sats
2026-05-02 14:12:08.2;41.600001;-93.500001;260.1;8.2;91.0;0.7;18
2026-05-02 14:12:08.4;41.600001;-93.499997;260.1;8.2;91.0;0.7;18
`, `time: year month day
Latitude: latitude
Longitude: longitude
Altitude (m): altitude
Speed (km/h): speed
Heading: heading
HDOP: hdop
Sats: satellites`},
	{"seconds that may be of GPS", `Time,Vacuum (kPa)
1461874346.0,5.1
1461874347.0,5.1
`, `time? seconds of GPS | seconds
Vacuum (kPa): vacuum, machine, kPa`},
	{"thousands of seeds", `Time,Population (1000/ac),Target Population (1000/ac),Applied Rate (gal/ac),Starter Flow (gpm)
5/2/2026 2:12:08 PM,32.1,32.0,5.1,7.9
5/13/2026 2:12:09 PM,32.0,32.0,5.0,7.8
`, `time: month day year ?
Population (1000/ac): seed_rate, machine, 1000 1/ac
Target Population (1000/ac): seed_rate_target, machine, 1000 1/ac
Applied Rate (gal/ac)? liquid_rate, machine, gal/ac
Starter Flow (gpm)? liquid_flow, machine, gal/min`},
	{"rows from nought, running totals", `time_s,R0 count,R1 count,R2 count
1777749128,1000,1004,998
1777749129,1017,1020,1016
1777749130,1034,1037,1033
1777749131,1050,1054,1050
1777749132,1067,1070,1068
1777749133,1084,1087,1084
1777749134,1101,1104,1101
`, `time: seconds
R{n} count: seed_count, row {n}, running`},
	{"numbers without a word of rows", `Time,Skips 1 (%),Skips 2 (%),Skips 3 (%)
2026-05-02T14:12:08Z,0.1,0.2,0.0
2026-05-02T14:12:09Z,0.1,0.2,0.0
`, `time: year month day
Skips {n} (%)? skip_fraction, row {n}, %`},
	{"a switch of lifting", `Time,Lift Switch,Planter Raised,Row Clutch 1,Row Clutch 2
2026-05-02T14:12:08Z,up,yes,on,on
2026-05-02T14:12:09Z,down,no,on,off
`, `time: year month day
Lift Switch? implement_lifted, machine | implement_lifted, machine, opposite
Planter Raised: implement_lifted, machine
Row Clutch {n}? row_enabled, row {n}`},
	{"a wrong unit", `Time,Speed (psi),Vacuum (mph),Voltage (V)
2026-05-02T14:12:08Z,30,5,13.8
2026-05-02T14:12:09Z,31,5,13.8
`, `time: year month day
Speed (psi)? 
Vacuum (mph)? 
Voltage (V): voltage, machine, V`},
	{"values that the unit cannot have", `Time,Speed (m/s),Skips (%)
2026-05-02T14:12:08Z,5100,0.5
2026-05-02T14:12:09Z,5200,0.5
`, `time: year month day
Speed (m/s)? ground_speed, machine, m/s
Skips (%): skip_fraction, machine, %`},
	{"singulation does not part the two", `Time,Row 1 Singulation (%),Row 2 Singulation (%),Row 1 Spacing (in),Row 2 Spacing (in),Row 1 COV,Row 2 COV
2026-05-02T14:12:08Z,98.5,99.0,6.1,6.2,0.21,0.19
2026-05-02T14:12:09Z,98.5,99.0,6.1,6.2,0.22,0.20
`, `time: year month day
Row {n} Singulation (%)-
Row {n} Spacing (in)-
Row {n} COV? spacing_cv, row {n} | spacing_cv, row {n}, %`},
	{"time of day alone", `Time,Speed (mph)
14:12:08,5.1
14:12:09,5.1
`, `!`},
	{"seconds from a start that nobody tells", `Elapsed (s),Speed (mph)
0.0,5.1
1.0,5.1
`, `!`},
	{"seeds by time and row", `timestamp;row
1777749128,120;1
1777749128,130;3
1777749128,190;2
`, `time: seconds
seeds?`},
	{"smoothed, with its window", `Time;Reihe 1 Fehlstellen (3 s Mittel) [%];Reihe 2 Fehlstellen (3 s Mittel) [%];Bodentemperatur (°C);Spannung
2026-05-02 14:12:08+02:00;0,5;0,0;11,5;13,8
2026-05-02 14:12:09+02:00;0,5;0,0;11,5;13,8
`, `time: year month day
Reihe {n} Fehlstellen (3 s Mittel) [%]: skip_fraction, row {n}, % ~3
Bodentemperatur (°C): seed_zone_temperature, machine, degC
Spannung? voltage, machine, V`},
	{"what nobody knows", `Time,Qx7 (zz),Torque (Nm),Vacuum (kPa)
2026-05-02T14:12:08Z,30,5,5.1
2026-05-02T14:12:09Z,31,5,5.1
`, `time: year month day
Qx7 (zz)-
Torque (Nm)-
Vacuum (kPa): vacuum, machine, kPa`},
}

func propose(t *testing.T, file string, answers map[string]string) Proposal {
	t.Helper()
	in := fstest.MapFS{"log.csv": {Data: []byte(file)}}
	s, err := Take(context.Background(), in, table.Ref{Kind: table.Text, Files: []string{"log.csv"}}, table.Dialect{})
	if err != nil {
		t.Fatal(err)
	}
	return Guess(s, About{Zone: "America/Chicago", Box: "box"}, answers)
}

// told writes a proposal as the wants above are written.
func told(p Proposal) []string {
	if p.Err != nil {
		return []string{"!"}
	}
	var out []string
	asked := map[string]Question{}
	for _, q := range p.Questions {
		asked[q.ID] = q
	}
	line := "time: " + string(p.Recipe.Time.Written)
	if q, ok := asked["time written"]; ok {
		line = "time? " + strings.Join(keys(q), " | ")
	} else if _, ok := asked["zone"]; ok {
		line += " ?"
	}
	out = append(out, line)
	for _, v := range p.Recipe.Values {
		n := v.Column + v.Word
		if _, ok := asked[columnPrefix+n]; !ok {
			s := n + ": " + v.key()
			if v.Average > 0 {
				s += fmt.Sprintf(" ~%g", v.Average)
			}
			out = append(out, s)
		}
	}
	for _, q := range p.Questions {
		if n, ok := strings.CutPrefix(q.ID, columnPrefix); ok {
			out = append(out, n+"? "+strings.Join(keys(q), " | "))
		}
	}
	pl := p.Recipe.Place
	for what, n := range map[string]string{"latitude": pl.Latitude, "longitude": pl.Longitude, "altitude": pl.Altitude, "speed": pl.Speed, "heading": pl.Heading, "hdop": pl.HDOP, "satellites": pl.Satellites} {
		if n != "" {
			out = append(out, n+": "+what)
		}
	}
	for _, l := range p.Left {
		out = append(out, l.Column+"-")
	}
	if _, ok := asked["seeds"]; ok {
		out = append(out, "seeds?")
	}
	return out
}

func keys(q Question) []string {
	var out []string
	for _, o := range q.Options {
		if o.Key != "none" {
			out = append(out, o.Key)
		}
	}
	return out
}

// A guess is right, or it asks; it is never wrong in silence.
func TestGuessHeaders(t *testing.T) {
	if len(headers) < 20 {
		t.Fatalf("%d headers", len(headers))
	}
	asked, sure := 0, 0
	for _, tt := range headers {
		t.Run(tt.name, func(t *testing.T) {
			p := propose(t, tt.file, nil)
			got := told(p)
			for _, w := range strings.Split(tt.want, "\n") {
				name, options, isAsked := strings.Cut(w, "? ")
				if !isAsked {
					if !slices.Contains(got, w) {
						t.Errorf("want %q among\n%s\n%v", w, strings.Join(got, "\n"), p.Err)
					}
					sure++
					continue
				}
				asked++
				// asked: every option that is right among those offered
				i := slices.IndexFunc(got, func(g string) bool { return strings.HasPrefix(g, name+"? ") })
				if i < 0 {
					t.Errorf("want a question about %q among\n%s", name, strings.Join(got, "\n"))
					continue
				}
				offered := strings.Split(strings.TrimPrefix(got[i], name+"? "), " | ")
				for _, o := range strings.Split(options, " | ") {
					if o = strings.TrimSpace(o); o != "" && !slices.Contains(offered, o) {
						t.Errorf("%q: want the option %q among %q", name, o, offered)
					}
				}
			}
			if n := len(strings.Split(tt.want, "\n")); n != len(got) {
				t.Errorf("%d things are said, want %d:\n%s", len(got), n, strings.Join(got, "\n"))
			}
			if p.Err == nil && p.Recipe.byRow() && !slices.ContainsFunc(p.Questions, func(q Question) bool { return q.ID == "rows" }) {
				t.Error("nobody asks from which side rows count")
			}
		})
	}
	t.Logf("%d columns read without asking, %d asked", sure, asked)
}
