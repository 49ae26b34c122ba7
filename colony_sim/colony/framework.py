"""Mesa, without what it loads for spaces that a rack has none of."""

from colony_sim.lazy import put_off

# They take as long to load as Mesa and pandas together.
with put_off("networkx", "scipy.spatial.distance", "tqdm.auto"):
    import mesa as mesa
    from mesa.datacollection import DataCollector as DataCollector
