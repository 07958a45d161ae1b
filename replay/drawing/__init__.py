"""What there is to draw of a trace (`picture`, `decimation`, `looks`), and matplotlib that draws it and a tuning."""
