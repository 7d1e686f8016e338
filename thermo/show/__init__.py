"""What people see: text, field files, pictures, and the result folder."""
