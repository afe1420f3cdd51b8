"""Writes what was computed: Gerber, drill, netlist, drawings, tables, report. Computes nothing."""
