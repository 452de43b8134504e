package cli

import _ "embed"

// The example that diagnose works out when it is given no file: an engine, a
// shop and a story that exist nowhere.
//
//go:embed demo.toml
var demo []byte

const demoName = "the built-in example"
