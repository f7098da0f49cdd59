"""The look: tokens, jaws and mark, the ruled line, traces, timelines, and paper. Rooms describe, drawing renders."""
