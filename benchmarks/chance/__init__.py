"""Do as many matches come by chance as is said, and does an audit find what was planted?"""
