"""Who works on the record: the owner, hands, and the devices each has paired."""
