"""The few compiled marches: drainage along a former, drying round the Yankee. Everything else is plain numpy."""
