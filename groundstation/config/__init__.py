"""The two files a user writes, checked and turned into what the program works with."""
