"""Bow and arrow as things: balance, stiffness, mass for the draw weight."""
