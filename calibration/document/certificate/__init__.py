"""The certificate: what a calibration record says, as a document (ISO/IEC 17025:2017, 7.8)."""
