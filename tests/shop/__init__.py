"""Plants unlike the virtual rig's: what a shop does to tower, arm and cutting frame.

Written from the physics alone. They share no code with the virtual rig nor with the measurements
(a test reads their imports), stand on other equations and another integration, and speak to the
program as the board does: in bytes on the wire. Every size of an effect is nominal, by engineering
judgement, without a source.
"""
