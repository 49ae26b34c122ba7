"""Does any input, however wrong, end a command in anything but one line?"""
