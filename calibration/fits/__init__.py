"""What a calibration bench's readings say about a head: one module per kind of fit."""
