"""What a firmware team takes: the C99 port, the MicroPython wiring, what runs the port on host and emulator.

generate: writes c/lubetrip_generated.h from `protect`
size: flash and RAM of the C port on a Cortex-M0
python_port: the reference itself behind the line protocol
c, host, emulator, micropython, proof, wasm: README.md says what stands there
"""
