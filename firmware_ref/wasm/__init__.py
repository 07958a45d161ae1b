"""The C port compiled to WebAssembly, for pages and for node. `python -m firmware_ref.wasm` builds it."""
