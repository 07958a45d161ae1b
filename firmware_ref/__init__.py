"""What a firmware team takes: the C99 port, the MicroPython wiring, the emulated Cortex-M runner.

generate: writes c/lubetrip_generated.h from `protect`
size: flash and RAM of the C port on a Cortex-M0
python_port: the reference itself behind the line protocol
cortex_m: the C port and its vectors on an emulated Cortex-M
"""
