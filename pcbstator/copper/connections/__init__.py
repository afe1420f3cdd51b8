"""What joins coils: connection rings, buses, via transitions, stacks of boards, tiles, slip rings."""
