package inspection

import _ "embed" // the schema travels inside the program

//go:embed inspection.schema.json
var schema []byte

// Schema is the JSON Schema (2020-12) of a document.
func Schema() []byte { return append([]byte(nil), schema...) }
