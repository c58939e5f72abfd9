"""The modelled searcher, and par."""
