package column

import (
	"errors"
	"testing"
)

// What a decoder gives must stand where it was told to write, all of it.
func TestInPlace(t *testing.T) {
	wrong := errors.New("wrong")
	for _, tt := range []struct {
		name   string
		decode func([]int32) ([]int32, error)
		want   string
	}{
		{"in place", func(out []int32) ([]int32, error) { return append(out[:0], 1, 2), nil }, ""},
		{"elsewhere", func([]int32) ([]int32, error) { return []int32{1, 2}, nil }, "2 of them were decoded, not into the place of 2"},
		{"one less", func(out []int32) ([]int32, error) { return out[:1], nil }, "1 of them were decoded, not into the place of 2"},
		{"more than fits", func(out []int32) ([]int32, error) { return append(out[:0], 1, 2, 3), nil }, "3 of them were decoded, not into the place of 2"},
		{"an error", func([]int32) ([]int32, error) { return nil, wrong }, "wrong"},
	} {
		got := ""
		if err := inPlace(make([]int32, 2), tt.decode); err != nil {
			got = err.Error()
		}
		if got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}
