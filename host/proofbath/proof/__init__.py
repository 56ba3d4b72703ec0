"""What results prove: specification, decision, charts, statistics, bench study, rework advice."""
