"""Which small experiment at home would tell most, and what does its result say?"""
