"""Who asks in a test: whoever is at this machine, who sees all."""

from pipeline.asker import whoever_is_here

HERE = whoever_is_here()
