package column

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"unsafe"

	"github.com/parquet-go/parquet-go/format"
)

// Rows reads a row group into structs, column by column, and appends them to
// dst. Columns are found by the struct tags that the writer uses. A column
// that the file lacks, and values that it does not hold, are left as they are
// in none.
func Rows[T any](f *File, group int, dst []T, none T) ([]T, error) {
	n := int(f.GroupRows(group))
	from := len(dst)
	dst = slices.Grow(dst, n)[:from+n]
	if n == 0 {
		return dst, nil
	}
	rows := dst[from:]
	t := reflect.TypeFor[T]()
	size := t.Size()
	if !all(f, t) { // a column that the file lacks leaves its field alone
		for i := range rows {
			rows[i] = none
		}
	}
	for i := range t.NumField() {
		field := t.Field(i)
		name, _, _ := strings.Cut(field.Tag.Get("parquet"), ",")
		if name == "" || name == "-" || !f.Has(name) {
			continue
		}
		base := unsafe.Add(unsafe.Pointer(unsafe.SliceData(rows)), field.Offset)
		was := reflect.ValueOf(&none).Elem().Field(i)
		var err error
		switch field.Type.Kind() {
		case reflect.Int8:
			err = scatter(f, group, name, base, size, n, int8(was.Int()))
		case reflect.Uint8:
			err = scatter(f, group, name, base, size, n, uint8(was.Uint()))
		case reflect.Int16:
			err = scatter(f, group, name, base, size, n, int16(was.Int()))
		case reflect.Uint16:
			err = scatter(f, group, name, base, size, n, uint16(was.Uint()))
		case reflect.Int32:
			err = scatter(f, group, name, base, size, n, int32(was.Int()))
		case reflect.Int64:
			err = scatter(f, group, name, base, size, n, was.Int())
		case reflect.Float32:
			err = scatter(f, group, name, base, size, n, float32(was.Float()))
		case reflect.Float64:
			err = scatter(f, group, name, base, size, n, was.Float())
		case reflect.Bool:
			err = scatterBools(f, group, name, base, size, n, was.Bool())
		case reflect.String:
			err = scatterStrings(f, group, name, base, size, n, was.String())
		default:
			panic(fmt.Sprintf("column: field %s of %s has a type that no column holds", field.Name, t))
		}
		if err != nil {
			return dst[:from], err
		}
	}
	return dst, nil
}

// all tells whether the file holds a column for every field of a struct.
func all(f *File, t reflect.Type) bool {
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("parquet"), ",")
		if name == "" || name == "-" || !f.Has(name) {
			return false
		}
	}
	return true
}

// Values reads a column of a row group and appends it to dst; values that it
// does not hold are none.
func Values[V Number](f *File, group int, name string, dst []V, none V) ([]V, error) {
	from, n := len(dst), int(f.GroupRows(group))
	if n == 0 {
		return dst, nil
	}
	dst = slices.Grow(dst, n)[:from+n]
	if err := scatter(f, group, name, unsafe.Pointer(&dst[from]), unsafe.Sizeof(none), n, none); err != nil {
		return dst[:from], err
	}
	return dst, nil
}

// scatter writes a column's values at base, base+stride and so on.
func scatter[V Number](f *File, group int, name string, base unsafe.Pointer, stride uintptr, n int, none V) error {
	pages, err := Numbers(f, group, name, none)
	if err != nil {
		return err
	}
	defer pages.Close()
	for n > 0 {
		vs, err := pages.Next() // no more than the row group has rows
		if err != nil {
			return err
		}
		for _, v := range vs {
			*(*V)(base) = v
			n--
			if n > 0 {
				base = unsafe.Add(base, stride)
			}
		}
	}
	return nil
}

// scatterBools is scatter for columns of yes and no.
func scatterBools(f *File, group int, name string, base unsafe.Pointer, stride uintptr, n int, none bool) error {
	var no uint8
	if none {
		no = 1
	}
	if err := scatter(f, group, name, base, stride, n, no); err != nil {
		return err
	}
	for ; n > 0; n-- { // a column of numbers may hold others than 0 and 1
		v := (*uint8)(base)
		*v = min(*v, 1)
		if n > 1 {
			base = unsafe.Add(base, stride)
		}
	}
	return nil
}

// scatterStrings writes a column's texts at base, base+stride and so on.
func scatterStrings(f *File, group int, name string, base unsafe.Pointer, stride uintptr, n int, none string) (err error) {
	l, err := f.leaf(name)
	if err != nil {
		return err
	}
	if l.kind != format.ByteArray && l.kind != format.FixedLenByteArray {
		return fmt.Errorf("%s: column %q holds no text", f.f.Name(), name)
	}
	r, err := f.read(group, l)
	if err != nil {
		return err
	}
	defer r.close()
	defer func() {
		if p := recover(); p != nil { // a decoder of the library may
			err = r.wrong("%v", p)
		}
	}()
	var dict, texts []string
	last := ""
	keep := func(b []byte) {
		if string(b) != last {
			last = string(b)
		}
		texts = append(texts, last)
	}
	for n > 0 {
		page, err := r.next()
		if err != nil {
			return err
		}
		texts = texts[:0]
		if page.refers() {
			if dict == nil && r.dict.present > 0 {
				if err := r.texts(&r.dict, keep); err != nil {
					return err
				}
				dict, texts = texts, nil
			}
			refs, err := r.indexes(&page)
			if err != nil {
				return err
			}
			for _, k := range refs {
				texts = append(texts, dict[k])
			}
		} else if err := r.texts(&page, keep); err != nil {
			return err
		}
		k := 0
		for i := range page.values {
			if page.present == page.values || page.levels != nil && page.levels[i] == r.there {
				*(*string)(base) = texts[k]
				k++
			} else {
				*(*string)(base) = none
			}
			if n--; n > 0 {
				base = unsafe.Add(base, stride)
			}
		}
	}
	return nil
}
