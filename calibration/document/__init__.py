"""Documents from one content model: HTML, PDF, charts, the certificate and its DCC export."""
