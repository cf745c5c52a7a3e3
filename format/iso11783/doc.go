// Package iso11783 reads and writes task data of ISO 11783-10, versions 3 and
// 4: the folder with TASKDATA.XML, its external parts, the binary time logs
// TLGnnnnn and the grids GRDnnnnn.
//
// # Reading
//
// Format implements evenstand.Format: one source per task that has logs.
// All logs of a task are joined on (date, time, north, east) before anything
// else, because a binary log holds at most 255 columns and a planter writes
// several in parallel. Below it stand [Open] for the set as it is (tasks,
// devices, products), [Scanner] for one binary log, Join for several and
// [Set.ReadGrid] for prescriptions.
//
// A log carries a value only when it changed. Each value becomes a reading;
// and because the stages behind want a row a second, what a row, section or
// machine holds (rates, skips, doubles, forces) is given again at least once a
// second of log time for as long as it is valid. A column starts unknown.
// States hold until changed. A measured value holds while its device goes on
// writing, and is stale once the device has been silent for five seconds or
// the log has paused for ten; a pause forgets all measured values.
//
// Times: the GNSS time in the records when it is there and runs, else the
// controller's clock with the offset that the set itself proves, else the
// controller's clock in Source.Zone, else an error that asks for the zone.
//
// Numbers: value = raw x resolution of the data dictionary (ISO 11783-11),
// turned into SI. Presentations (VPN, DVP) are for people and never computed
// with. What has no word in the registry stays a Raw reading whose Code is the
// identifier: in the dictionary's unit when the dictionary knows the number,
// else the integer as it came.
//
// Latencies: readings of measured values lie at log time plus DDI 143 of the
// nearest element above them that tells it, setpoints at log time plus DDI 142.
//
// The planter counts as lifted while the work state of its seed boom (141) is
// off and no row works. A row counts as switched off when its setpoint (289, 290
// and up) is off, or the operator has taken it over (367 and up) and it is off.
// Down force (426, 427) is applied force, as the dictionary says, unless the
// device's own words call it the load on the gauge wheels.
//
// Damage: a record that is not plausible ends at the next place where three in
// a row are; a cut or damaged XML file gives what is well formed; a missing
// part, head or log costs that part only. Everything left out is reported.
//
// Places: offsets are millimetres from the device's reference point, x
// forward, y right. Rows are ordered by y, never by element number. The sign of
// the hitch angle (466) is the log's own; nothing here checks it on a turn.
//
// # Writing
//
// [NewWriter] writes what a planter's controller would log; one [Record] per
// position. It writes only what changed, splits columns over parallel logs,
// and writes TASKDATA.XML on Close:
//
//	w, err := iso11783.NewWriter(dir, iso11783.WriterOptions{
//		Version: 4, Card: card, Task: "North 80", Product: "hybrid A",
//		Log: iso11783.LogSeedRate | iso11783.LogSkips | iso11783.LogDoubles | iso11783.LogWorking,
//	})
//	for … {
//		err = w.Record(iso11783.Record{Fix: fix, SeedRate: rates, Skips: skips, Doubles: doubles, Working: on})
//	}
//	err = w.Close()
//
// [WritePrescription] writes a task with a grid of type 1 or 2. [LogWriter]
// writes a single binary log with any columns.
//
// Sources: ISO 11783-10 task file schemas V3.3 and V4.3 and the ISO 11783-11
// data dictionary export 2025012101, as summarised in the project's reference.
package iso11783
