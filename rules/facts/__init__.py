"""What is true of an application, a part, a material, a port, a joint, a run, a whole assembly.

Each module turns the graph of an assembly into records of facts that rules speak about. Facts are
numbers and words; whether they are good or bad is the rule book's business.
"""
