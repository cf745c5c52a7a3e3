module evenstand

go 1.26.0

require (
	codeberg.org/go-pdf/fpdf v0.12.0
	github.com/andybalholm/brotli v1.2.0
	github.com/danielgtaylor/huma/v2 v2.37.2
	github.com/google/go-cmp v0.7.0
	github.com/klauspost/compress v1.20.4
	github.com/ncruces/go-sqlite3 v0.37.0
	github.com/parquet-go/parquet-go v0.32.0
	github.com/pelletier/go-toml/v2 v2.4.3
	github.com/peterstace/simplefeatures v0.59.0
	github.com/pierrec/lz4/v4 v4.1.21
	github.com/rogpeppe/go-internal v1.16.0
	github.com/santhosh-tekuri/jsonschema/v6 v6.0.3
	golang.org/x/image v0.40.0
	golang.org/x/sys v0.49.0
	golang.org/x/text v0.44.0
	gonum.org/v1/gonum v0.17.0
	pgregory.net/rapid v1.3.0
)

require (
	github.com/google/uuid v1.6.0 // indirect
	github.com/ncruces/go-sqlite3-wasm/v6 v6.5.35401 // indirect
	github.com/ncruces/julianday v1.0.0 // indirect
	github.com/parquet-go/bitpack v1.0.0 // indirect
	github.com/parquet-go/jsonlite v1.0.0 // indirect
	github.com/twpayne/go-geom v1.6.1 // indirect
	golang.org/x/tools v0.52.0 // indirect
	google.golang.org/protobuf v1.36.11 // indirect
)
