package pdf

import (
	"bytes"

	"evenstand/core/paper"
)

// Bytes gives documents as pdf, csv or json.
func Bytes(docs []paper.Document, as string, size Size) ([]byte, error) {
	switch as {
	case "csv":
		return paper.CSV(docs)
	case "json":
		return paper.JSON(docs)
	}
	var out bytes.Buffer
	err := Write(&out, docs, size)
	return out.Bytes(), err
}
