"""What the litres say in service: logs, events, receipts, health."""
