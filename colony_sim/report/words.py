"""What the page says whatever was found: questions, limits of the model, cautions."""

from __future__ import annotations

LIMITS = (
    (
        "How much your colony will yield.",
        "Grams rest on values from a few papers on other strains, feeds and rooms. Trust "
        "differences between policies more, and among these the ones that hold over the ranges.",
    ),
    (
        "How many eggs a beetle eats.",
        "It has not been measured well in this species; the value is fitted to counts of "
        "offspring. Every verdict on the rotation interval leans on it.",
    ),
    (
        "How soon the first harvest comes.",
        "The model's larvae take twice as long as keepers report.",
    ),
    (
        "How warm a full bin gets.",
        "Larvae warm their bin; how much of that heat a bin loses is a guess.",
    ),
    ("Disease, mites, mould.", "Wet feed costs only minutes here; it can cost a real bin."),
    ("Inbreeding and selection.", "Keeping back some larvae changes a real strain over years."),
    (
        "A keeper's judgement.",
        "Rules are followed to the day. A keeper who looks before acting may do better.",
    ),
    ("Money, law and health.", "No prices; see the cautions below."),
)
"""Each begins with the words in bold of a point of ``colony_sim/docs/limits.md``."""

CAUTIONS = (
    (
        "Dust",
        "from bran, frass and shed skins causes allergy and asthma in people who breed insects; "
        "people allergic to shrimp often react to mealworms. Keep dust down, ventilate, wear a "
        "fitted mask when sieving, and see a doctor if you wheeze.",
    ),
    (
        "Bleach:",
        "never mix it with ammonia or acids; ventilate, wear gloves, rinse well and keep it off "
        "bins with live insects.",
    ),
    (
        "Heat:",
        "bran in an oven can catch fire; never leave it alone. Heaters and lamps near bran and "
        "dust can start a fire too.",
    ),
    (
        "Feed law:",
        "feeding insects to animals, and what the insects may be fed, is regulated, differently "
        "from place to place. Check your local feed law. Ask a vet about sick birds.",
    ),
    (
        "First word:",
        "where a local code, a vet, a doctor or another licensed professional says otherwise than "
        "this page, follow them.",
    ),
)
