"""What people do, each in one transaction: set up, sign in, record, watch, import, export.

Every act takes the session, the person who does it and the time, and asks ``roles`` whether that person may.
"""
