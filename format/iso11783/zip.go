package iso11783

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
)

// maxZip bounds what is brought back from an archive without a directory.
const maxZip = 1 << 30

// OpenZip opens an archive as a folder. Bytes in front of the first entry are
// passed over. An archive that was cut off, so that its directory at the end
// is gone, is read from its entries one by one as far as they go.
func OpenZip(r io.ReaderAt, size int64) (fs.FS, error) {
	z, err := zip.NewReader(r, size)
	if err == nil || errors.Is(err, zip.ErrInsecurePath) {
		return z, nil
	}
	again, n, salvageErr := salvage(io.NewSectionReader(r, 0, size))
	if salvageErr != nil || n == 0 {
		return nil, fmt.Errorf("no zip archive that can be read: %w. Copy it again", err)
	}
	z, err = zip.NewReader(bytes.NewReader(again), int64(len(again)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, fmt.Errorf("no zip archive that can be read: %w. Copy it again", err)
	}
	return z, nil
}

// salvage copies every entry that its local header tells of into a sound
// archive. Local headers are laid out in APPNOTE.TXT 4.3.7 of the zip format:
// signature, then at 8 the method, at 18 the packed size, at 26 the lengths of
// name and extra field.
func salvage(r io.Reader) ([]byte, int, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxZip))
	if err != nil {
		return nil, 0, err
	}
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	seen := map[string]bool{}
	n, total := 0, int64(0)
	for at := 0; ; {
		i := bytes.Index(data[at:], []byte("PK\x03\x04"))
		if i < 0 {
			break
		}
		at += i
		h := data[at:]
		at += 4
		if len(h) < 30 {
			break
		}
		le := binary.LittleEndian
		method, packed := le.Uint16(h[8:]), int(le.Uint32(h[18:]))
		name, extra := int(le.Uint16(h[26:])), int(le.Uint16(h[28:]))
		if len(h) < 30+name+extra {
			break
		}
		file := strings.ReplaceAll(string(h[30:30+name]), "\\", "/")
		body := h[30+name+extra:]
		if !fs.ValidPath(file) || seen[file] || strings.HasSuffix(file, "/") {
			continue
		}
		if packed > 0 && packed < len(body) {
			body = body[:packed]
		}
		var content []byte
		switch method {
		case zip.Store:
			content = body
		case zip.Deflate:
			// what unpacks before the damage is kept
			content, _ = io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(body)), maxZip-total))
		default:
			continue
		}
		total += int64(len(content))
		seen[file] = true
		f, err := w.CreateHeader(&zip.FileHeader{Name: file, Method: zip.Store})
		if err != nil {
			return nil, 0, err
		}
		if _, err := f.Write(content); err != nil {
			return nil, 0, err
		}
		n++
		if packed > 0 && packed <= len(h)-30-name-extra {
			at += 26 + name + extra + packed
		}
		if total >= maxZip {
			break
		}
	}
	if err := w.Close(); err != nil {
		return nil, 0, err
	}
	return out.Bytes(), n, nil
}
