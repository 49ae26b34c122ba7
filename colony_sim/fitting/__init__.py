"""What do a keeper's own notes tell about the colony? Log, replay, inference, calibration."""
