"""Everything a person sees: terminal, HTML, PDF, PNG and CSV."""
