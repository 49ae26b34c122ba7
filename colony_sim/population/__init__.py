"""Who is alive, and what happened to them today?"""
