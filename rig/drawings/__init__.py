"""Workshop drawings from the fixtures' parts: sheets 1:1, files to cut from, assemblies to scale.

Imports point down into `rig.geometry` only. matplotlib, which the reports need anyway, makes SVG
and PDF of the same picture; ezdxf, which only a drawing needs, makes the DXF.
"""
