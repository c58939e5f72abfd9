"""The practice rig: a whole field of devices as processes of this computer.

Each device is the true firmware under the real MicroPython interpreter, on a serial port of its
own (a pseudo-terminal) that any serial program can open. What a snow field would bring (probes,
hands, batteries, radio) comes over a loopback socket.
"""
