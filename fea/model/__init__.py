"""Nodes, elements, springs and ties as data; assembly and solution."""
