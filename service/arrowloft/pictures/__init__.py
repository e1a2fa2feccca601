"""Pictures: SVG from core results, to scale; knows no request, and never reads one."""
