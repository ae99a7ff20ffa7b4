"""What a frame is, in one byte: the flag bits that every column of frames uses."""

EXTENDED = 1  # 29-bit identifier
REMOTE = 2  # asks for data, carries none
ERROR = 4  # not a frame, but an error frame seen on the bus
FD = 8  # flexible data rate frame
BIT_RATE_SWITCH = 16  # FD only: the data phase runs at the faster bit rate
ERROR_STATE = 32  # FD only: the sender is error passive
