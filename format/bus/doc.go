// Package bus reads text captures of a planter's bus (ISO 11783, with NMEA
// 2000 receivers on it) and writes such captures. It only ever listens: nothing
// here sends a frame.
//
// # Reading
//
// Format implements evenstand.Format: one source per capture, which is found by
// what stands at its head. Below it stands [Scanner] for the frames of a file,
// in the three styles of candump: log lines, screen lines with or without
// times, and the old lines with the identifier in angle brackets.
//
// The planter is known by the description that it sends when the key is turned
// on (the pool of ISO 11783-10, over the transport protocols). It is turned
// into the devices of format/iso11783, whose Layout makes the card and whose
// Feed makes readings of the values: what a number means is decided there, for
// task data and for the bus. A description that comes late holds for what was
// said before it; one that changes begins a new part of the capture. Where a
// capture has none, the captures in the same folder are asked, and if they have
// none either, values of rows cannot be named and are reported as not used.
//
// A value is measured when a device says it, and asked for when the controller
// does: the controller is who sends its status, asks for values and takes
// descriptions. Names belong to addresses as they were last claimed.
//
// Places come from one receiver, that which says most, speeds from one message:
// the speed that the machine selected (61474), else over ground (65097), else
// of the wheels (65096).
//
// # Times
//
// The capture's times are the logger's clock. A receiver's message tells its
// own time and comes a little after it: the lower edge of the difference is how
// far the logger's clock is ahead, less the receiver's delay, of which the bus
// says nothing (0.1 s is taken, give or take 0.1). While that stays the same
// the times stand as they are and the source's ClockOffset says it. A clock that
// was set or drifts, and times that count from the beginning of the capture, are
// put on the receiver's time all along. Frames without times lie between the
// receiver's times by their order. Places are put back by the receiver's delay,
// and by how much later the rapid message says the same place.
//
// # Damage
//
// Lines that are none, messages of which packets are missing and a last line
// that is cut cost themselves only, and are reported.
//
// # Writing
//
// [NewWriter] writes what a logger on the planter's bus would capture, from the
// records of format/iso11783:
//
//	w, err := bus.NewWriter(file, bus.WriterOptions{Card: card, Log: iso11783.LogSeedRate | iso11783.LogWorking | iso11783.LogSpeed})
//	for … {
//		err = w.Record(iso11783.Record{Fix: fix, SeedRate: rates, Working: on, Speed: 2.2})
//	}
//	err = w.Close()
//
// Sources: ISO 11783-3, -5, -7 and -10 and NMEA 2000, as summarised in the
// project's reference (live.md) after AgIsoStack, canboat and can-utils.
package bus
