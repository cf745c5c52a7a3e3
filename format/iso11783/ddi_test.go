package iso11783_test

import (
	"testing"

	"evenstand/format/iso11783"
)

// Names of ISO 11783-11, export 2025012101: 11 "Setpoint" and 12 "Actual Count
// Per Area Application Rate"; 161 and 290 condensed work states of sections 1
// to 16; 417 skips have no setpoint; 36 is a setpoint.
func TestSetpoint(t *testing.T) {
	for _, tt := range []struct {
		d, want iso11783.DDI
		ok      bool
	}{{12, 11, true}, {11, 11, true}, {2, 1, true}, {141, 289, true}, {161, 290, true}, {176, 305, true}, {427, 426, true}, {36, 36, true}, {417, 417, false}, {82, 82, false}, {60000, 60000, false}} {
		if got, ok := tt.d.Setpoint(); got != tt.want || ok != tt.ok {
			t.Errorf("%d: %d, %v, want %d, %v", tt.d, got, ok, tt.want, tt.ok)
		}
	}
}
