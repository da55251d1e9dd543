"""Kinds of evidence, a folder each; no stream knows another."""
