package iso11783

import (
	"context"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/format/files"
)

// Set is one task data set: a folder with TASKDATA.XML and what belongs to it.
type Set struct {
	Dir           string // folder inside the input, "." for the top
	Main          string // name of TASKDATA.XML inside the input
	Major, Minor  int    // version; a hint only
	Origin        int    // DataTransferOrigin
	Parts         []string
	LinkList      string // name of LINKLIST.XML, empty when there is none
	Links         []LinkGroup
	Devices       []*Device
	Tasks         []*Task
	Products      map[string]Product // by id
	Crops         map[string]string  // crop types and varieties by id
	Fields        map[string]Field   // by id
	Presentations map[string]*Presentation
	Unused        []evenstand.Unused // what of the set could not be read

	fsys     fs.FS
	elements map[string]*DeviceElement
	files    map[string]string // upper-case base name to name inside the input
	names    []string          // all files of the set's folder that are its own, in order
}

// LinkGroup is a group of the link list.
type LinkGroup struct {
	ID    string
	Type  int
	Links map[string]string // id in the task data to the id outside
}

// Product is a PDT.
type Product struct{ ID, Name string }

// Field is a PFD with its outer boundary, if it has one.
type Field struct {
	ID, Name string
	Crop     string       // id of the crop type
	Ring     [][2]float64 // latitude, longitude
}

// Presentation is a VPN: how people are shown a raw value.
type Presentation struct {
	Offset, Scale float64
	Unit          string
}

// Zone is a treatment zone with its rates.
type Zone struct {
	Code  int
	Rates []Rate
}

// Rate is a PDV.
type Rate struct {
	DDI              DDI
	Value            int32
	Product, Element string
}

// Allocation is a PAN: a product in a device element.
type Allocation struct{ Product, Element string }

// Connection is a CNN: two connectors coupled.
type Connection struct{ Device, Connector, Device2, Connector2 string }

// Task is a TSK.
type Task struct {
	ID, Name    string
	Status      int
	Field       string // id
	Logs        []string
	Zones       []Zone
	Allocations []Allocation
	Connections []Connection
	Devices     []string // ids of allocated devices
	Times       []string // TIM and ASP times as they stand, starts and stops
	grid        *node
	node        *node
}

func (t *Task) zone(code int) (Zone, bool) {
	for _, z := range t.Zones {
		if z.Code == code {
			return z, true
		}
	}
	return Zone{}, false
}

var ownFile = regexp.MustCompile(`^(TASKDATA|LINKLIST|(TLG|GRD|PNT|AFE|BSN|CCG|CCT|CLD|CPC|CTP|CTR|DVC|FRM|GGP|OTQ|PDT|PFD|PGP|TSK|VPN|WKR)[0-9]{4,5})\.(XML|BIN)$`)

// file finds a file of the set by its name without regard to case. A name with
// four digits is also found when the reference has five, and the other way.
func (s *Set) file(name string) (string, bool) {
	name = strings.ToUpper(name)
	if f, ok := s.files[name]; ok {
		return f, true
	}
	ext := path.Ext(name)
	stem := strings.TrimSuffix(name, ext)
	if len(stem) == 8 && stem[3] == '0' {
		f, ok := s.files[stem[:3]+stem[4:]+ext]
		return f, ok
	}
	if len(stem) == 7 {
		f, ok := s.files[stem[:3]+"0"+stem[3:]+ext]
		return f, ok
	}
	return "", false
}

// Open finds and reads all task data sets of an input, without their logs and
// grids. The error is for an input that cannot be listed.
func Open(ctx context.Context, in fs.FS) ([]*Set, []evenstand.Unused, error) {
	dirs := map[string]*Set{}
	var unused []evenstand.Unused
	var order []string
	shut, err := files.Walk(ctx, in, func(name string) {
		base := path.Base(name)
		dir := path.Dir(name)
		s := dirs[dir]
		if s == nil {
			s = &Set{Dir: dir, fsys: in, files: map[string]string{}}
			dirs[dir] = s
			order = append(order, dir)
		}
		up := strings.ToUpper(base)
		if first, twice := s.files[up]; twice {
			if ownFile.MatchString(up) {
				unused = append(unused, evenstand.Unused{
					File: name, Offset: -1, Count: 1, Of: "files",
					Why: "its name differs from " + first + " only in upper and lower case", Do: "Put the two sets into folders of their own and read both.",
				})
				s.names = append(s.names, name)
			}
			return
		}
		s.files[up] = name
		if ownFile.MatchString(up) {
			s.names = append(s.names, name)
		}
	})
	if err != nil {
		return nil, nil, err
	}
	unused = append(unused, shut...)
	slices.Sort(order)
	var sets []*Set
	for _, dir := range order {
		s := dirs[dir]
		main, ok := s.files["TASKDATA.XML"]
		if !ok {
			if !s.hasLogs() {
				continue
			}
			s.Main = path.Join(dir, "TASKDATA.XML")
			s.miss(s.Main, "TASKDATA.XML is not there, so nobody knows which planter logged", "Copy the whole folder again; until then the logs are read without names and places of rows.")
			s.catalogue()
			s.loose()
			sets = append(sets, s)
			continue
		}
		s.Main = main
		s.load()
		sets = append(sets, s)
	}
	return sets, unused, nil
}

func (s *Set) hasLogs() bool {
	for f := range s.files {
		if strings.HasPrefix(f, "TLG") && strings.HasSuffix(f, ".BIN") && ownFile.MatchString(f) {
			if _, ok := s.files[strings.TrimSuffix(f, ".BIN")+".XML"]; ok {
				return true
			}
		}
	}
	return false
}

func (s *Set) miss(file, why, do string) {
	s.Unused = append(s.Unused, evenstand.Unused{File: file, Offset: -1, Count: 1, Of: "files", Why: why, Do: do})
}

func (s *Set) catalogue() {
	s.Products, s.Crops = map[string]Product{}, map[string]string{}
	s.Fields, s.Presentations = map[string]Field{}, map[string]*Presentation{}
}

// parse reads one XML file of the set and notes its damage.
func (s *Set) parse(name string) *node {
	f, err := s.fsys.Open(name)
	if err != nil {
		s.miss(name, "cannot be opened: "+err.Error(), "Copy the folder again.")
		return nil
	}
	defer f.Close()
	doc, err := parseXML(name, f)
	if err != nil {
		s.miss(name, err.Error(), "Copy the folder again; the other files of the set are used.")
		return nil
	}
	if d := doc.Damage; d != nil {
		s.Unused = append(s.Unused, evenstand.Unused{
			File: name, Line: d.Line, Offset: d.Offset, Count: max(d.Bytes, 1), Of: "bytes",
			Why: d.Why, Do: "Copy the folder again; what stands before and after the damaged place is used.",
		})
	}
	return doc.Root
}

// load reads TASKDATA.XML, its parts and the link list.
func (s *Set) load() {
	s.catalogue()
	root := s.parse(s.Main)
	if root == nil {
		s.loose()
		return
	}
	s.Major, s.Minor = root.integer("VersionMajor", 0), root.integer("VersionMinor", 0)
	s.Origin = root.integer("DataTransferOrigin", 0)
	roots := []*node{root}
	seen := map[string]bool{}
	for _, x := range root.all("XFR") {
		ref := x.text("A")
		name, ok := s.file(ref + ".XML")
		if !ok {
			s.miss(path.Join(s.Dir, ref+".XML"), "the part that "+s.Main+" names is not there", "Copy the whole folder again; the rest is used.")
			continue
		}
		if seen[name] {
			continue
		}
		seen[name] = true
		s.Parts = append(s.Parts, name)
		if part := s.parse(name); part != nil {
			roots = append(roots, part)
		}
	}
	if name, ok := s.file("LINKLIST.XML"); ok {
		s.LinkList = name
		if l := s.parse(name); l != nil {
			for _, g := range l.all("LGP") {
				group := LinkGroup{g.text("A"), g.integer("B", 0), map[string]string{}}
				for _, k := range g.all("LNK") {
					group.Links[k.text("A")] = strings.Trim(k.text("B"), "{}")
				}
				s.Links = append(s.Links, group)
			}
		}
	}
	for _, r := range roots {
		for _, n := range r.Kids {
			s.take(n)
		}
	}
	s.attached(roots)
	s.loose()
}

// attached adds files that elements name (AFE, PNT) to the set's own.
func (s *Set) attached(roots []*node) {
	for _, r := range roots {
		for _, n := range r.all("AFE") {
			if f, ok := s.file(n.text("A")); ok && !slices.Contains(s.names, f) {
				s.names = append(s.names, f)
			}
		}
	}
}

// take adds one element of the root to the catalogue.
func (s *Set) take(n *node) {
	id := n.text("A")
	switch n.Name {
	case "DVC":
		s.device(n)
	case "PDT":
		s.Products[id] = Product{id, n.text("B")}
	case "CTP":
		s.Crops[id] = n.text("B")
		for _, v := range n.all("CVT") {
			s.Crops[v.text("A")] = v.text("B")
		}
	case "PFD":
		f := Field{ID: id, Name: n.text("C"), Crop: n.text("G")}
		for _, p := range n.all("PLN") {
			if p.text("A") != "1" || len(f.Ring) > 0 {
				continue
			}
			for _, l := range p.all("LSG") {
				if l.text("A") != "1" {
					continue
				}
				for _, pt := range l.all("PNT") {
					lat, ok1 := pt.float("C")
					lon, ok2 := pt.float("D")
					if ok1 && ok2 {
						f.Ring = append(f.Ring, [2]float64{lat, lon})
					}
				}
				break
			}
		}
		s.Fields[id] = f
	case "VPN":
		offset, _ := n.float("B")
		scale, _ := n.float("C")
		s.Presentations[id] = &Presentation{offset, scale, n.text("E")}
	case "TSK":
		s.task(n)
	}
}

func (s *Set) task(n *node) {
	t := &Task{ID: n.text("A"), Name: n.text("B"), Status: n.integer("G", 0), Field: n.text("E"), grid: n.find("GRD"), node: n}
	if t.ID == "" {
		t.ID = fmt.Sprintf("without id %d", len(s.Tasks)+1)
	}
	for _, have := range s.Tasks {
		if have.ID == t.ID {
			s.Unused = append(s.Unused, evenstand.Unused{
				File: s.Main, Line: n.Line, Offset: -1, Count: 1, Of: "records",
				Why: "task " + t.ID + " stands there twice", Do: "The logs of both are read as one task; look whether two sets were mixed.",
			})
			have.merge(t, s)
			return
		}
	}
	t.merge(&Task{node: n}, s)
	s.Tasks = append(s.Tasks, t)
}

// merge takes the children of another task element into t.
func (t *Task) merge(o *Task, s *Set) {
	var rate func(z *Zone, n *node)
	rate = func(z *Zone, n *node) {
		d, err := parseDDI(n.text("A"))
		if err != nil {
			return
		}
		v, _ := strconv.ParseInt(n.text("B"), 10, 32)
		z.Rates = append(z.Rates, Rate{d, int32(v), n.text("C"), n.text("D")})
		for _, k := range n.all("PDV") {
			rate(z, k)
		}
	}
	for _, k := range o.node.Kids {
		switch k.Name {
		case "TLG":
			name := strings.ToUpper(k.text("A"))
			if c := k.integer("C", 1); c != 1 {
				s.Unused = append(s.Unused, evenstand.Unused{File: path.Join(s.Dir, name), Offset: -1, Count: 1, Of: "files", Why: fmt.Sprintf("a log of type %d; only type 1 is a binary time log", c)})
			} else if name != "" && !slices.Contains(t.Logs, name) {
				t.Logs = append(t.Logs, name)
			}
		case "TZN":
			z := Zone{Code: k.integer("A", -1)}
			for _, p := range k.all("PDV") {
				rate(&z, p)
			}
			t.Zones = append(t.Zones, z)
		case "PAN":
			t.Allocations = append(t.Allocations, Allocation{k.text("A"), k.text("E")})
		case "CNN":
			t.Connections = append(t.Connections, Connection{k.text("A"), k.text("B"), k.text("C"), k.text("D")})
		case "DAN":
			if d := k.text("C"); d != "" {
				t.Devices = append(t.Devices, d)
			}
		case "GRD":
			if t.grid == nil {
				t.grid = k
			}
		case "TIM":
			t.Times = append(t.Times, k.text("A"), k.text("B"))
		}
		for _, a := range k.all("ASP") {
			t.Times = append(t.Times, a.text("A"), a.text("B"))
		}
	}
}

// loose makes a task of the logs that no task names, as when the list of tasks
// is cut.
func (s *Set) loose() {
	named := map[string]bool{}
	for _, t := range s.Tasks {
		for _, l := range t.Logs {
			if f, ok := s.file(l + ".BIN"); ok {
				named[f] = true
			}
		}
	}
	t := &Task{}
	for _, f := range s.names {
		up := strings.ToUpper(path.Base(f))
		if strings.HasPrefix(up, "TLG") && strings.HasSuffix(up, ".BIN") && !named[f] {
			t.Logs = append(t.Logs, strings.TrimSuffix(up, ".BIN"))
		}
	}
	if len(t.Logs) > 0 {
		slices.Sort(t.Logs)
		s.Tasks = append(s.Tasks, t)
	}
}

// label names a task for people.
func (t *Task) label() string {
	if t.ID == "" {
		return "logs of no task"
	}
	return "task " + t.ID
}
