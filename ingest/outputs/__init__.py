"""Where messages leave: the MQTT client and, for a start without installing, a broker."""
