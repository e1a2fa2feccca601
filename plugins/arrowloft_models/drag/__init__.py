"""Drag models, one model a file: flow and arrow in, drag area out, reached by entry point only."""
