"""Host tools: command line, reports, serial link."""
