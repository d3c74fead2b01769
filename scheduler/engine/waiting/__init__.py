"""Why jobs of a plan wait; of the second format each reason is tried in the document before it is told."""
