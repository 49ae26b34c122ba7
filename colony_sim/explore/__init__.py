"""What happens if I change this rule?

On NiceGUI: all its assets are in its package (30 MB), nothing is fetched, and keys and phones work.
Mesa's own page (Solara) takes its assets from a CDN: tried offline, it stays empty; 580 MB.
"""
