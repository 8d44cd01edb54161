"""A bench without hardware: a line, a rigger's hands, a scale, a pedal. Seeded; their clock is given to them."""
